//! Net: bytes to and from other devices.
//! May use: quinn, rustls, mdns-sd.   Never: judges anything about the job.
