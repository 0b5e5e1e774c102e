//! Journal: how signed bytes lie one after the other in a file, and what can be read back from a damaged one.
//! Owns: nothing.   Gives: `header`, `record`, `scan`.
//! May use: bounds.   Never: opens, writes or flushes (node's store); looks inside an entry (wire).
//!
//! ```text
//! file   = header record* zero*                   zeros: space that was set aside for later records
//! header = "gantline journal" version checksum    16 bytes, u32, u32
//! record = length bytes checksum                  u32, 64 to 65,536 bytes, u32
//! ```
//!
//! Numbers are little-endian. A checksum is CRC-32 over all of its header or record before it. It guards
//! against disks and torn writes, for which it finds every change of up to 32 bits in a row; against
//! people who change a file stand the signatures and the hash graph, which are checked after it. So it
//! needs no cryptographic hash, and costs a tenth of one.

use crate::bounds::ENTRY_MAX_BYTES;
use crate::log::wire::SIGNATURE_BYTES;
use core::ops::Range;

/// First bytes of every journal.
pub const MAGIC: &[u8; 16] = b"gantline journal";
/// Version of this framing.
pub const VERSION: u32 = 1;
/// Length of the header.
pub const HEADER_BYTES: usize = 24;
/// What a record adds to its bytes.
pub const RECORD_EXTRA_BYTES: usize = 8;

/// What was found in a file.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Scan {
    /// Where the bytes of each good record are, in order.
    pub records: Vec<Range<usize>>,
    /// What is not a header, a record or unused space, in order.
    pub damage: Vec<Damage>,
    /// Where the next record goes: after the last good one (or the header).
    pub end: usize,
}

/// A stretch of the file that cannot be read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Damage {
    /// Where it starts.
    pub offset: usize,
    /// How long it is.
    pub len: usize,
    /// What it is.
    pub kind: DamageKind,
}

/// Kinds of damage.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum DamageKind {
    /// The file does not start with a journal's header. Records were looked for all the same.
    Header,
    /// The header is whole and names a framing that this version does not read; nothing was read.
    Version {
        /// The version that it names.
        found: u32,
    },
    /// Bytes between good records: at least one record is lost.
    Middle,
    /// Bytes after the last good record: a record whose writing was cut off, or damaged ones.
    Tail,
}

/// The bytes that every journal starts with.
#[must_use]
pub fn header() -> [u8; HEADER_BYTES] {
    let mut header = [0; HEADER_BYTES];
    header[..16].copy_from_slice(MAGIC);
    header[16..20].copy_from_slice(&VERSION.to_le_bytes());
    let sum = crc32fast::hash(&header[..20]);
    header[20..].copy_from_slice(&sum.to_le_bytes());
    header
}

/// One record. What is not of an entry's length would not be read back; entries are bounded where they
/// are made and decoded.
#[must_use]
pub fn record(bytes: &[u8]) -> Vec<u8> {
    let mut record = Vec::with_capacity(bytes.len() + RECORD_EXTRA_BYTES);
    append_record(&mut record, bytes);
    record
}

/// Appends one record to a batch that is written at once.
pub fn append_record(batch: &mut Vec<u8>, bytes: &[u8]) {
    let start = batch.len();
    let len = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
    batch.extend_from_slice(&len.to_le_bytes());
    batch.extend_from_slice(bytes);
    let sum = crc32fast::hash(&batch[start..]);
    batch.extend_from_slice(&sum.to_le_bytes());
}

/// Finds all good records of a file, and what lies between them. Never fails: what cannot be read is
/// named in [`Scan::damage`].
#[must_use]
pub fn scan(file: &[u8]) -> Scan {
    let mut scan = Scan::default();
    let mut at = match file.get(..HEADER_BYTES) {
        Some(found) if found == header() => HEADER_BYTES,
        Some(found) if whole_header(found) => {
            scan.damage.push(Damage {
                offset: 0,
                len: file.len(),
                kind: DamageKind::Version {
                    found: number(found, 16).unwrap_or(0),
                },
            });
            return scan;
        }
        _ => {
            let first = next_good(file, 0).unwrap_or(file.len());
            scan.damage.push(Damage {
                offset: 0,
                len: first,
                kind: DamageKind::Header,
            });
            first
        }
    };
    scan.end = at.min(HEADER_BYTES);
    while at < file.len() {
        if let Some(bytes) = good_record(file, at) {
            at = bytes.end + 4;
            scan.end = at;
            scan.records.push(bytes);
            continue;
        }
        if file[at..].iter().all(|&byte| byte == 0) {
            break;
        }
        let (next, kind) = match next_good(file, at + 1) {
            Some(next) => (next, DamageKind::Middle),
            None => (file.len(), DamageKind::Tail),
        };
        scan.damage.push(Damage {
            offset: at,
            len: next - at,
            kind,
        });
        at = next;
    }
    scan
}

/// Whether these bytes are a header of some version.
fn whole_header(found: &[u8]) -> bool {
    found.starts_with(MAGIC) && number(found, 20) == Some(crc32fast::hash(&found[..20]))
}

/// The next place at or after `from` where a good record starts.
fn next_good(file: &[u8], from: usize) -> Option<usize> {
    (from..file.len()).find(|&at| good_record(file, at).is_some())
}

/// Where the bytes of the record at `at` are, if there is a good one.
fn good_record(file: &[u8], at: usize) -> Option<Range<usize>> {
    let len = usize::try_from(number(file, at)?).ok()?;
    if !(SIGNATURE_BYTES..=ENTRY_MAX_BYTES).contains(&len) {
        return None;
    }
    let bytes = at + 4..at + 4 + len;
    let sum = number(file, bytes.end)?;
    (sum == crc32fast::hash(&file[at..bytes.end])).then_some(bytes)
}

fn number(file: &[u8], at: usize) -> Option<u32> {
    let four = file.get(at..at.checked_add(4)?)?;
    Some(u32::from_le_bytes(four.try_into().ok()?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    /// Some records of different lengths, and the file of them with space set aside behind.
    fn sample(space: usize) -> (Vec<Vec<u8>>, Vec<u8>) {
        let records: Vec<Vec<u8>> = [64_usize, 90, 65, 130]
            .iter()
            .enumerate()
            .map(|(place, &len)| {
                (0..len)
                    .map(|at| u8::try_from((at * 31 + place * 7) % 251).unwrap())
                    .collect()
            })
            .collect();
        let mut file = header().to_vec();
        for bytes in &records {
            append_record(&mut file, bytes);
        }
        file.resize(file.len() + space, 0);
        (records, file)
    }

    fn read<'a>(file: &'a [u8], scan: &Scan) -> Vec<&'a [u8]> {
        scan.records.iter().map(|at| &file[at.clone()]).collect()
    }

    #[test]
    fn reads_back_what_was_written_and_knows_where_to_go_on() {
        for space in [0, 1, 4, 4_096] {
            let (records, file) = sample(space);
            let scan = scan(&file);
            assert_eq!(read(&file, &scan), records);
            assert_eq!(scan.damage, []);
            assert_eq!(scan.end, file.len() - space);
        }
        let empty = scan(&header());
        assert_eq!((empty.end, empty.damage.len()), (HEADER_BYTES, 0));
        assert_eq!(record(&[5; 64]).len(), 64 + RECORD_EXTRA_BYTES);
    }

    #[test]
    fn cut_at_every_byte_loses_the_cut_record_only() {
        let (records, file) = sample(0);
        let mut ends = vec![HEADER_BYTES];
        for bytes in &records {
            ends.push(ends.last().unwrap() + bytes.len() + RECORD_EXTRA_BYTES);
        }
        for cut in 0..=file.len() {
            let found = scan(&file[..cut]);
            if cut < HEADER_BYTES {
                assert_eq!(found.damage[0].kind, DamageKind::Header, "cut at {cut}");
                assert!(found.records.is_empty());
                continue;
            }
            let whole = ends.iter().filter(|&&end| end <= cut).count() - 1;
            assert_eq!(read(&file, &found), records[..whole], "cut at {cut}");
            assert_eq!(found.end, ends[whole], "cut at {cut}");
            // A rest that is all zeros cannot be told from unused space, and needs not be.
            let rest = &file[ends[whole]..cut];
            assert_eq!(
                found.damage.is_empty(),
                rest.iter().all(|&byte| byte == 0),
                "cut at {cut}"
            );
        }
    }

    #[test]
    fn every_flipped_byte_is_found_and_costs_one_record() {
        let (records, file) = sample(64);
        let used = file.len() - 64;
        for at in 0..used {
            for flip in [1_u8, 0x80, 0xff] {
                let mut spoilt = file.clone();
                spoilt[at] ^= flip;
                let found = scan(&spoilt);
                assert_eq!(found.damage.len(), 1, "byte {at}");
                let damage = &found.damage[0];
                assert!(
                    (damage.offset..damage.offset + damage.len).contains(&at),
                    "byte {at} is outside {damage:?}"
                );
                let lost = usize::from(at >= HEADER_BYTES);
                assert_eq!(found.records.len(), records.len() - lost, "byte {at}");
            }
        }
    }

    #[test]
    fn a_bad_stretch_in_the_middle_is_named_and_passed() {
        let (records, mut file) = sample(0);
        let second = HEADER_BYTES + records[0].len() + RECORD_EXTRA_BYTES;
        file[second..second + 50].fill(0);
        let found = scan(&file);
        assert_eq!(read(&file, &found), [&records[0], &records[2], &records[3]]);
        assert_eq!(
            found.damage,
            [Damage {
                offset: second,
                len: records[1].len() + RECORD_EXTRA_BYTES,
                kind: DamageKind::Middle
            }]
        );
    }

    #[test]
    fn another_version_is_named_and_not_read() {
        let (_, mut file) = sample(0);
        file[16] = 9;
        let sum = crc32fast::hash(&file[..20]);
        file[20..24].copy_from_slice(&sum.to_le_bytes());
        let found = scan(&file);
        assert!(found.records.is_empty());
        assert_eq!(found.damage[0].kind, DamageKind::Version { found: 9 });
    }
}
