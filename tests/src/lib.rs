//! Tests: what the other rooms do together, and what that costs.
pub mod workload;
