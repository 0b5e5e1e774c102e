//! Device: this machine's key, clocks and folders, and the one loop that drives the protocol.
//! May use: store, net, protocol::engine.   Never: a rule of the job.
