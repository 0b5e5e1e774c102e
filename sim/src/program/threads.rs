//! Threads: the same work on several of them.
//! Owns: nothing.   Gives: `on_threads`.
//! May use: threads.   Never: a run divided among two.

use super::Problem;

/// Does `work` on so many threads, this one among them, and comes back when all have done it.
pub(crate) fn on_threads(threads: u8, work: impl Fn() + Sync) -> Result<(), Problem> {
    std::thread::scope(|scope| {
        for _ in 1..threads {
            std::thread::Builder::new()
                .spawn_scoped(scope, &work)
                .map_err(Problem::Thread)?;
        }
        work();
        Ok(())
    })
}
