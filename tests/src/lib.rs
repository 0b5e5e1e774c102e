//! Tests: what the other rooms do together, and what that costs.
//!
//! `workload` logs of a given size · `support` real programs and the workspace's own sources, for the
//! end-to-end tests in `tests/`.

pub mod support;
pub mod workload;
