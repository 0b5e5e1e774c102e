//! Support of the benchmarks: the signature checks alone, and the processor's time.
//! Owns: nothing.   Gives: `checks_alone`, `on_all_cores`, `cpu_ms`.
//! May use: protocol.   Never: a figure of its own.

use core::convert::Infallible;
use ed25519_zebra::{Signature, VerificationKeyBytes, batch};
use gantline_protocol::log::wire::Entry;
use rand_core::{TryCryptoRng, TryRng};
use std::sync::atomic::{AtomicUsize, Ordering};

/// How many threads can run at once.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Calls `run` with parts of `0..total` on all cores, `size` at a time.
pub fn on_all_cores(total: usize, size: usize, run: impl Fn(core::ops::Range<usize>) + Sync) {
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..cores() {
            scope.spawn(|| {
                loop {
                    let from = next.fetch_add(size, Ordering::Relaxed);
                    if from >= total {
                        return;
                    }
                    run(from..(from + size).min(total));
                }
            });
        }
    });
}

/// The signature checks of some entries in one batch, with nothing around them: what a bare program would do.
pub fn checks_alone(entries: &[Entry]) {
    let mut batch = batch::Verifier::new();
    for entry in entries {
        let mut message = *b"gantline entry signature................................";
        message[24..].copy_from_slice(&entry.hash.0);
        let key = VerificationKeyBytes::from(entry.content.author.0);
        batch.queue((key, Signature::from(entry.signature()), &message));
    }
    assert!(batch.verify(Mixed(7)).is_ok());
}

/// Processor time of this process so far, ms, in steps of 10; unlike the clock on the wall it is not
/// stretched by what else the machine does.
pub fn cpu_ms() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // After the name, which is in brackets: the 12th and 13th are user and system time in hundredths.
    let after = stat.rsplit(')').next().unwrap_or_default();
    let fields = after.split_whitespace().skip(11).take(2);
    let hundredths = fields.filter_map(|field| field.parse::<f64>().ok());
    hundredths.sum::<f64>() * 10.0
}

/// Coefficients for measuring alone; a verifier takes its own from a hash.
struct Mixed(u64);

impl TryRng for Mixed {
    type Error = Infallible;
    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        self.try_next_u64().map(|number| number as u32)
    }
    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        Ok(self.0 ^ self.0 >> 32)
    }
    fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Infallible> {
        for part in bytes.chunks_mut(8) {
            let number = self.try_next_u64()?.to_le_bytes();
            part.copy_from_slice(&number[..part.len()]);
        }
        Ok(())
    }
}

impl TryCryptoRng for Mixed {}
