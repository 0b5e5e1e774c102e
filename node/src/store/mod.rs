//! Store: what survives the loss of power on this device.
//! Owns: files in the job's folder.   Gives: nothing yet decided here is about the job.
//! May use: protocol::log::journal.   Never: what an entry says.
