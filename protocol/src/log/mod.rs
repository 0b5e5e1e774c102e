//! Log: the signed, append-only hash graph of entries.
//! In reading order: `entry` the values · `photo` a picture's name · `text` their bound · `wire` bytes · `sign` whose they are, by which
//! `signatures` ·
//! `graph` what came before what · `author` the next own one · `pen` what waits for its past ·
//! `journal` how they lie in a file · `named` what a body refers to · `columns` many in few bytes.

pub mod author;
pub mod columns;
pub mod entry;
#[cfg(test)]
mod frozen;
pub mod graph;
pub mod journal;
mod named;
mod numbers;
pub mod pen;
pub mod photo;
#[cfg(test)]
pub(crate) mod sample;
pub mod sign;
pub mod signatures;
mod text;
pub mod wire;

pub use named::Named;
