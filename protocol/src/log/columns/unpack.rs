//! Unpack: columns to entries, with the exact bytes that were signed.
//! Owns: nothing.   Gives: `unpack`.
//! May use: wire, entry, numbers, bounds.   Never: signatures (sign); trust in a length that it reads.

use super::{BadPack, Column, VERSION, name};
use crate::bounds::{
    ENTRY_MAX_BYTES, FORMAT_VERSION, GIVE_MAX_ENTRIES, HEADS_MAX, MESSAGE_MAX_BYTES,
};
use crate::ids::{DeviceKey, EntryHash, JobId};
use crate::log::entry::Content;
use crate::log::numbers::{self, Reader};
use crate::log::wire::{self, BadBytes, Entry, SIGNATURE_BYTES};
use crate::time::{Stamp, WallClock};

/// The entries of a pack, in its order. Their form is good, as [`Entry::decode`] has it; their
/// signatures are yet to be checked.
///
/// # Errors
/// [`BadPack`]. Nothing is allocated that is larger than what the bytes pay for.
pub fn unpack(bytes: &[u8]) -> Result<Vec<Entry>, BadPack> {
    let mut unpacker = Unpacker::read(bytes)?;
    let mut entries = Vec::with_capacity(unpacker.count);
    let mut left = MESSAGE_MAX_BYTES;
    for place in 0..unpacker.count {
        let entry = unpacker.entry(place)?;
        left = left
            .checked_sub(entry.bytes.len())
            .ok_or(BadPack::TooLarge)?;
        entries.push(entry);
    }
    unpacker.all_read()?;
    Ok(entries)
}

type Head = (JobId, usize, Vec<Run>, Vec<EntryHash>);

/// What stands before the columns.
fn read_head(reader: &mut Reader) -> Result<Head, BadPack> {
    match reader.bytes(1) {
        Some(&[VERSION]) => {}
        Some(&[found]) => return Err(BadPack::Version { found }),
        _ => return Err(BadPack::Head),
    }
    let job = JobId(reader.hash().ok_or(BadPack::Head)?);
    let found = reader.number().ok_or(BadPack::Head)?;
    let count = usize::try_from(found)
        .ok()
        .filter(|&count| count <= GIVE_MAX_ENTRIES)
        .ok_or(BadPack::TooMany { found })?;
    let mut runs = Vec::new();
    for _ in 0..reader.number().ok_or(BadPack::Head)? {
        runs.push(read_run(reader).ok_or(BadPack::Head)?);
    }
    let mut outside = Vec::new();
    for _ in 0..reader.number().ok_or(BadPack::Head)? {
        outside.push(EntryHash(reader.hash().ok_or(BadPack::Head)?));
    }
    Ok((job, count, runs, outside))
}

fn read_run(reader: &mut Reader) -> Option<Run> {
    Some(Run {
        author: DeviceKey(reader.hash()?),
        first_seq: u32::try_from(reader.number()?).ok()?,
        prev: EntryHash(reader.hash()?),
        hashes: Vec::new(),
    })
}

/// A run of a chain, as far as it is unpacked.
struct Run {
    author: DeviceKey,
    first_seq: u32,
    prev: EntryHash,
    hashes: Vec<EntryHash>,
}

struct Unpacker<'a> {
    job: JobId,
    count: usize,
    runs: Vec<Run>,
    outside: Vec<EntryHash>,
    columns: [Reader<'a>; Column::ALL.len()],
    /// Bodies of each kind that are not yet taken, by first byte.
    bodies: Vec<Reader<'a>>,
    signatures: &'a [u8],
    before_ms: u64,
    /// The entry that is being built.
    built: Vec<u8>,
}

impl<'a> Unpacker<'a> {
    fn read(bytes: &'a [u8]) -> Result<Self, BadPack> {
        let mut reader = Reader::new(bytes);
        let (job, count, runs, outside) = read_head(&mut reader)?;
        let mut columns = [Reader::new(&[]); Column::ALL.len()];
        for (place, column) in columns.iter_mut().enumerate() {
            let bytes = reader.index().and_then(|len| reader.bytes(len));
            *column = Reader::new(bytes.ok_or(BadPack::Column {
                column: Column::ALL[place],
            })?);
        }
        let signatures = reader.rest();
        let expected = count * SIGNATURE_BYTES;
        if signatures.len() != expected {
            return Err(BadPack::Signatures {
                found: signatures.len(),
                expected,
            });
        }
        let mut unpacker = Self {
            job,
            count,
            runs,
            outside,
            columns,
            bodies: Vec::new(),
            signatures,
            before_ms: 0,
            built: Vec::with_capacity(1_024),
        };
        unpacker.split_bodies()?;
        Ok(unpacker)
    }

    /// Finds where the bodies of each kind start.
    fn split_bodies(&mut self) -> Result<(), BadPack> {
        let bad = |column| BadPack::Column { column };
        let kinds = self.columns[Column::Kind as usize].rest();
        if kinds.len() != self.count {
            return Err(bad(Column::Kind));
        }
        let mut lens = [0_usize; 256];
        let mut body_lens = self.columns[Column::BodyLen as usize];
        for &kind in kinds {
            let len = body_lens
                .index()
                .filter(|&len| len <= ENTRY_MAX_BYTES)
                .ok_or(bad(Column::BodyLen))?;
            lens[usize::from(kind)] += len;
        }
        let mut all = self.columns[Column::Body as usize];
        for len in lens {
            let part = all.bytes(len).ok_or(bad(Column::Body))?;
            self.bodies.push(Reader::new(part));
        }
        self.columns[Column::Body as usize] = all;
        Ok(())
    }

    fn number(&mut self, column: Column) -> Result<u64, BadPack> {
        self.columns[column as usize]
            .number()
            .ok_or(BadPack::Column { column })
    }

    fn index(&mut self, column: Column) -> Result<usize, BadPack> {
        self.columns[column as usize]
            .index()
            .ok_or(BadPack::Column { column })
    }

    fn signed(&mut self, column: Column) -> Result<i64, BadPack> {
        self.columns[column as usize]
            .signed()
            .ok_or(BadPack::Column { column })
    }

    fn entry(&mut self, place: usize) -> Result<Entry, BadPack> {
        let missing = BadPack::Reference { place };
        let chain = self.index(Column::Chain)?;
        let heads = self.heads(place)?;
        let stamp = self.stamp()?;
        let wall = self.signed(Column::Wall)?;
        let wall = WallClock(wall.wrapping_add(stamp.ms() as i64));
        let kind = self.columns[Column::Kind as usize]
            .bytes(1)
            .and_then(|one| one.first().copied())
            .ok_or(BadPack::Column {
                column: Column::Kind,
            })?;

        let run = self.runs.get(chain).ok_or(missing.clone())?;
        let author = run.author;
        let seq = u32::try_from(run.hashes.len())
            .ok()
            .and_then(|more| run.first_seq.checked_add(more))
            .ok_or(missing)?;
        let prev = *run.hashes.last().unwrap_or(&run.prev);
        let job = if kind == 0 {
            JobId::UNFOUNDED
        } else {
            self.job
        };

        let mut built = core::mem::take(&mut self.built);
        built.clear();
        built.push(FORMAT_VERSION);
        built.extend_from_slice(&job.0);
        built.extend_from_slice(&author.0);
        numbers::put(&mut built, u64::from(seq));
        built.extend_from_slice(&prev.0);
        numbers::put(&mut built, heads.len() as u64);
        for head in &heads {
            built.extend_from_slice(&head.0);
        }
        numbers::put(&mut built, stamp.0);
        numbers::put_signed(&mut built, wall.0);
        let body_at = built.len();
        built.push(kind);
        self.body(place, kind, &mut built)?;
        let bad = |why| BadPack::Entry { place, why };
        let body = wire::decode_body(&built[body_at..]).map_err(bad)?;
        let hash = wire::hash_content(&built);
        let from = place * SIGNATURE_BYTES;
        built.extend_from_slice(&self.signatures[from..from + SIGNATURE_BYTES]);
        let content = Content {
            version: FORMAT_VERSION,
            job,
            author,
            seq,
            prev,
            heads,
            stamp,
            wall,
            body,
        };
        let entry = Entry::from_parts(content, hash, built.as_slice().into()).map_err(bad)?;
        self.built = built;
        self.runs[chain].hashes.push(hash);
        Ok(entry)
    }

    fn stamp(&mut self) -> Result<Stamp, BadPack> {
        let bad = |column| BadPack::Column { column };
        let after_ms = self.signed(Column::StampMs)?;
        let counter = self.number(Column::StampCounter)?;
        let ms = self.before_ms.wrapping_add(after_ms as u64);
        if ms >> 48 != 0 {
            return Err(bad(Column::StampMs));
        }
        if counter >> 16 != 0 {
            return Err(bad(Column::StampCounter));
        }
        self.before_ms = ms;
        Ok(Stamp(ms << 16 | counter))
    }

    fn heads(&mut self, place: usize) -> Result<Vec<EntryHash>, BadPack> {
        let count = self.index(Column::HeadCount)?;
        if count > HEADS_MAX {
            let why = BadBytes::Heads;
            return Err(BadPack::Entry { place, why });
        }
        let mut heads = Vec::with_capacity(count);
        for _ in 0..count {
            let chain = self.index(Column::HeadChain)?;
            let back = self.index(Column::HeadBack)?;
            heads.push(
                match chain.checked_sub(1) {
                    None => self.outside.get(back).copied(),
                    Some(run) => self.inside(run, back),
                }
                .ok_or(BadPack::Reference { place })?,
            );
        }
        heads.sort_unstable();
        Ok(heads)
    }

    fn inside(&self, run: usize, back: usize) -> Option<EntryHash> {
        let hashes = &self.runs.get(run)?.hashes;
        let place = hashes.len().checked_sub(1)?.checked_sub(back)?;
        hashes.get(place).copied()
    }

    /// Appends the body after its first byte.
    fn body(&mut self, place: usize, kind: u8, built: &mut Vec<u8>) -> Result<(), BadPack> {
        let bad = |column| BadPack::Column { column };
        let len = self.index(Column::BodyLen)?;
        let mut kept = self.bodies[usize::from(kind)]
            .bytes(len)
            .map(Reader::new)
            .ok_or(bad(Column::Body))?;
        for _ in 0..self.index(Column::NameCount)? {
            let gap = self.index(Column::NameGap)?;
            built.extend_from_slice(kept.bytes(gap).ok_or(bad(Column::NameGap))?);
            let of = self.number(Column::NameOf)?;
            let which = usize::try_from(of / 4).map_err(|_| bad(Column::NameOf))?;
            let missing = BadPack::Reference { place };
            match of % 4 {
                name::TAG => {
                    let run = self.runs.get(which).ok_or(missing)?;
                    built.extend_from_slice(&run.author.tag().0);
                }
                name::DEVICE => {
                    let run = self.runs.get(which).ok_or(missing)?;
                    built.extend_from_slice(&run.author.0);
                }
                name::ENTRY => {
                    let back = self.index(Column::NameBack)?;
                    let hash = self.inside(which, back).ok_or(missing)?;
                    built.extend_from_slice(&hash.0);
                }
                // name::OUTSIDE: there are four kinds only.
                _ => {
                    let hash = self.outside.get(which).ok_or(missing)?;
                    built.extend_from_slice(&hash.0);
                }
            }
            if built.len() > ENTRY_MAX_BYTES {
                let why = BadBytes::Length { found: built.len() };
                return Err(BadPack::Entry { place, why });
            }
        }
        built.extend_from_slice(kept.rest());
        Ok(())
    }

    /// Whether nothing is left that no entry asked for.
    fn all_read(&self) -> Result<(), BadPack> {
        let left = Column::ALL
            .into_iter()
            .find(|&column| !self.columns[column as usize].rest().is_empty());
        match left {
            Some(column) => Err(BadPack::Column { column }),
            None => Ok(()),
        }
    }
}
