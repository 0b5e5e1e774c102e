//! Bounds: sizes, counts and times that keep one device or peer from exhausting another; each with its why.
//! Owns: constants.   Never: a limit of the work itself (metres, newtons): those are in the plan.

/// Version of the entry encoding; pinned by the founding entry.
pub const FORMAT_VERSION: u8 = 1;
/// Largest encoded entry, signature included (design: 64 KiB). The founding entry carries the plan.
pub const ENTRY_MAX_BYTES: usize = 64 * 1024;
/// Most heads in one entry: one for every other device of the largest crew.
pub const HEADS_MAX: usize = 64;
/// Most devices ever admitted to one job: the largest crew of 32, each replaced once.
pub const DEVICES_MAX: usize = 64;
/// Most characters in any free text that a person types into an entry.
pub const TEXT_MAX_CHARS: usize = 500;
/// Largest photo: a page scales one down to about a third of this before it is sent, where scripts run.
pub const PHOTO_MAX_BYTES: u32 = 1024 * 1024;
/// Most bytes of photos that one device has the others keep for a job: some hundred of a page's, and no more than
/// a phone can spare for a device in bad hands.
pub const PHOTOS_OF_ONE_MAX_BYTES: u64 = 32 * 1024 * 1024;
/// Most photos that one device has the others keep, so that many small ones cost no more time than some large ones.
pub const PHOTOS_OF_ONE_MAX: usize = 512;
/// Most bytes of photos that a device keeps for a job.
pub const PHOTOS_MAX_BYTES: u64 = 256 * 1024 * 1024;
/// Bytes of a photo that go in one message: a twentieth of a second on a radio of 1.5 Mbit/s, which is what a
/// beacon behind it waits at most.
pub const PHOTO_PIECE_BYTES: u32 = 8 * 1024;
/// Longest message about photos: a piece, and what names it.
pub const PHOTO_MESSAGE_MAX_BYTES: usize = 8 * 1024 + 128;
/// A device gives the next piece, to whomever, so long after the one before: 64 KiB a second in all, half a Mbit/s
/// of a radio that has to carry stops.
pub const PHOTO_PAUSE_MS: u64 = 125;
/// Most entries waiting for their past.
pub const PEN_MAX_ENTRIES: usize = 16_384;
/// Most bytes waiting for their past.
pub const PEN_MAX_BYTES: usize = 16 * 1024 * 1024;
/// Places in the pen that only stops may take, so that a full pen never turns one away.
pub const PEN_STOP_PLACES: usize = 256;
/// A stamp further ahead of the own wall clock than this is not followed: ten minutes is more than a
/// phone that has seen a network drifts in a month.
pub const STAMP_AHEAD_MAX_MS: u64 = 10 * 60 * 1000;
/// Largest beacon datagram: under the 1,162 bytes that QUIC can carry right after connecting on a
/// 1,280 byte path.
pub const DATAGRAM_MAX_BYTES: usize = 1_100;
/// Largest message on a stream before it is refused unread.
pub const MESSAGE_MAX_BYTES: usize = 4 * 1024 * 1024;
/// Most entries in one catch-up message: large enough for full signature batches, small enough that a
/// stop behind it waits some milliseconds only.
pub const GIVE_MAX_ENTRIES: usize = 4_096;
/// Most new entries a second taken from one peer's own chain before it is told to slow down.
pub const ENTRIES_PER_SECOND_MAX: u32 = 200;
/// Beacons, when every proof is young.
pub const BEACON_MS: u64 = 250;
/// Beacons, while any proof is older than half the watch limit.
pub const BEACON_HURRIED_MS: u64 = 100;
/// How often the call is worked out anew.
pub const TICK_MS: u64 = 100;
/// A page that has not heard from its node, or a node from its page, for so long counts as silent.
pub const PAGE_LIMIT_MS: u64 = 1_000;
/// Default age of a proof of life up to which a device says Proceed.
pub const WATCH_LIMIT_MS: u64 = 4_000;
/// The range in which a plan may set it.
pub const WATCH_LIMIT_RANGE_MS: core::ops::RangeInclusive<u64> = 2_000..=10_000;
/// A device unheard for so long may be removed without asking its peers' holders.
pub const LOST_AFTER_MS: u64 = 10_000;
/// Out of Hold only after every proof was young for so long.
pub const STEADY_MS: u64 = 2_000;
/// After a hold by loss of more than this the holder says that things are still so.
pub const STILL_SO_AFTER_MS: u64 = 30_000;
/// A confirm stays armed for so long while it waits for fresh evidence.
pub const ARMED_MS: u64 = 2_000;
/// Default validity of a ground worker's ready.
pub const READY_VALID_S: u32 = 30;
/// The range in which a plan may set that validity: less cannot be answered with gloves on, more is no
/// longer the same look.
pub const READY_VALID_RANGE_S: core::ops::RangeInclusive<u64> = 5..=300;
/// The range in which a plan may set [`LOST_AFTER_MS`].
pub const LOST_AFTER_RANGE_MS: core::ops::RangeInclusive<u64> = 5_000..=120_000;
/// Default time for which a critical confirm is kept pressed: longer than a brush of a glove.
pub const PRESS_MS: u32 = 1_000;
/// The range in which a plan may set it.
pub const PRESS_RANGE_MS: core::ops::RangeInclusive<u64> = 300..=5_000;
/// Largest encoded plan: the founding entry's 64 KiB less its envelope, of which 64 heads of 32 bytes,
/// the signature, the roles and a continued job's marks are the most.
pub const PLAN_MAX_BYTES: usize = 60 * 1024;
/// Most steps of a plan; the proof over all orders keeps one bit for each.
pub const STEPS_MAX: usize = 256;
