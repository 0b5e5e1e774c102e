//! Tests of pictures between devices on a virtual clock: whole ones arrive, wrong ones never, and the pace is kept.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use super::*;
use crate::bounds::{
    PHOTO_MAX_BYTES, PHOTO_MESSAGE_MAX_BYTES, PHOTO_PAUSE_MS, PHOTO_PIECE_BYTES, PHOTOS_MAX_BYTES,
    PHOTOS_OF_ONE_MAX, PHOTOS_OF_ONE_MAX_BYTES,
};
use crate::log::photo::Media;
use crate::photos::message::PhotoAsk;
use std::collections::VecDeque;

fn key(device: u8) -> DeviceKey {
    DeviceKey([device; 32])
}

/// Bytes that are different at each place, so that a piece at a wrong one is found.
fn picture(seed: u8, bytes: u32) -> Vec<u8> {
    let mut content: Vec<u8> = (0..bytes)
        .map(|at| u8::try_from((at * 31 + at / 251 + u32::from(seed)) % 256).unwrap())
        .collect();
    content[..3].copy_from_slice(&[0xff, 0xd8, 0xff]);
    content
}

/// What a device of a test does with the messages to it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Manner {
    Honest,
    /// Changes the bytes of each piece.
    Lies,
    /// Gives a byte less than asked for.
    Short,
    /// Says nothing.
    Silent,
    /// Sends what is no message.
    Garbage,
}

struct Device {
    photos: Photos,
    manner: Manner,
    disk: BTreeMap<PhotoHash, Vec<u8>>,
    disk_is_full: bool,
    faults: Vec<(DeviceKey, PhotoFault)>,
    /// Ticks at which a piece was sent.
    gave: Vec<u64>,
}

/// Devices with links that take 5 ms, all level.
struct Air {
    devices: Vec<Device>,
    down: BTreeSet<usize>,
    not_level: BTreeSet<usize>,
    now: u64,
    queue: VecDeque<(u64, usize, usize, Arc<[u8]>)>,
}

impl Air {
    fn new(manners: &[Manner]) -> Self {
        let device = |manner: &Manner| Device {
            photos: Photos::default(),
            manner: *manner,
            disk: BTreeMap::new(),
            disk_is_full: false,
            faults: Vec::new(),
            gave: Vec::new(),
        };
        Self {
            devices: manners.iter().map(device).collect(),
            down: BTreeSet::new(),
            not_level: BTreeSet::new(),
            now: 1_000,
            queue: VecDeque::new(),
        }
    }

    fn number(key: &DeviceKey) -> usize {
        usize::from(key.0[0])
    }

    /// Everybody's log names it, as device `by` said.
    fn name(&mut self, by: u8, content: &[u8]) -> Photo {
        let photo = Photo::of(content).unwrap();
        for device in &mut self.devices {
            device.photos.named.name(key(by), photo);
            device.photos.wants = device.photos.lacks_any();
        }
        photo
    }

    fn put(&mut self, at: usize, content: &[u8]) {
        let hash = PhotoHash::of(content);
        self.devices[at].disk.insert(hash, content.to_vec());
        let bytes = u32::try_from(content.len()).unwrap();
        self.input(at, PhotoInput::Kept { hash, bytes });
    }

    fn level(&self, at: usize) -> BTreeSet<DeviceKey> {
        let out = |one: usize| self.down.contains(&one) || self.not_level.contains(&one);
        (0..self.devices.len())
            .filter(|one| *one != at && !out(*one) && !out(at))
            .map(|one| key(u8::try_from(one).unwrap()))
            .collect()
    }

    fn input(&mut self, at: usize, input: PhotoInput) {
        let level = self.level(at);
        let effects = self.devices[at]
            .photos
            .handle(Tick(self.now), &level, input);
        for effect in effects {
            self.effect(at, effect);
        }
    }

    fn effect(&mut self, at: usize, effect: PhotoEffect) {
        let device = &mut self.devices[at];
        match effect {
            PhotoEffect::Send { to, bytes } => {
                assert!(bytes.len() <= PHOTO_MESSAGE_MAX_BYTES);
                let mut message = PhotoMessage::decode(&bytes).unwrap();
                if let PhotoMessage::Piece { content, .. } = &mut message {
                    device.gave.push(self.now);
                    match device.manner {
                        Manner::Lies => content[0] ^= 1,
                        Manner::Short => drop(content.pop()),
                        _ => {}
                    }
                }
                let bytes = match device.manner {
                    Manner::Silent => return,
                    Manner::Garbage => Arc::from([9_u8; 9]),
                    _ => message.encode(),
                };
                self.queue
                    .push_back((self.now + 5, at, Self::number(&to), bytes));
            }
            PhotoEffect::Keep { photo, content } => {
                assert_eq!(PhotoHash::of(&content), photo.hash, "kept unchecked");
                let input = if device.disk_is_full {
                    PhotoInput::NotKept(photo.hash)
                } else {
                    device.disk.insert(photo.hash, content);
                    PhotoInput::Kept {
                        hash: photo.hash,
                        bytes: photo.bytes,
                    }
                };
                self.input(at, input);
            }
            PhotoEffect::Load(hash) => {
                let input = match device.disk.get(&hash) {
                    Some(content) if PhotoHash::of(content) == hash => PhotoInput::Loaded {
                        hash,
                        content: Arc::from(content.as_slice()),
                    },
                    _ => PhotoInput::Lost(hash),
                };
                self.input(at, input);
            }
            PhotoEffect::Fault { peer, fault } => device.faults.push((peer, fault)),
        }
    }

    /// Goes on, from one time at which something is due to the next, for so long.
    fn run(&mut self, ms: u64) {
        let end = self.now + ms;
        for at in 0..self.devices.len() {
            self.input(at, PhotoInput::Turn);
        }
        let mut turns = 0;
        loop {
            turns += 1;
            assert!(turns < 100_000, "it never rests");
            let due = self.devices.iter().filter_map(|one| one.photos.due());
            let arrives = self.queue.front().map(|(at, ..)| *at);
            let next = due.map(|at| at.0).chain(arrives).min();
            let Some(next) = next.filter(|next| *next <= end) else {
                break;
            };
            assert!(next >= self.now, "a time that has passed was due");
            self.now = next;
            if arrives == Some(next) {
                let (_, from, to, bytes) = self.queue.pop_front().unwrap();
                if self.down.contains(&from) || self.down.contains(&to) {
                    continue;
                }
                let from = key(u8::try_from(from).unwrap());
                let bytes = bytes.to_vec();
                self.input(to, PhotoInput::Message { from, bytes });
            } else {
                for at in 0..self.devices.len() {
                    if self.devices[at]
                        .photos
                        .due()
                        .is_some_and(|due| due.0 <= self.now)
                    {
                        self.input(at, PhotoInput::Turn);
                    }
                }
            }
        }
        self.now = end;
    }

    fn has(&self, at: usize, photo: &Photo) -> bool {
        self.devices[at].disk.contains_key(&photo.hash)
    }

    fn lose(&mut self, at: usize) {
        self.down.insert(at);
        let gone = key(u8::try_from(at).unwrap());
        for other in (0..self.devices.len()).filter(|other| *other != at) {
            self.input(other, PhotoInput::Down(gone));
        }
    }
}

use Manner::{Garbage, Honest, Lies, Short, Silent};

#[test]
fn a_photo_comes_to_everybody_whole_and_at_its_pace() {
    let mut air = Air::new(&[Honest; 6]);
    let content = picture(1, PHOTO_MAX_BYTES);
    let photo = air.name(0, &content);
    air.put(0, &content);
    air.run(120_000);
    for at in 1..6 {
        assert_eq!(
            air.devices[at].disk.get(&photo.hash),
            Some(&content),
            "{at}"
        );
        assert!(air.devices[at].faults.is_empty());
        assert!(!air.devices[at].photos.is_busy());
    }
    for device in &air.devices {
        let gaps = device.gave.windows(2).map(|two| two[1] - two[0]);
        assert!(gaps.min().is_none_or(|gap| gap >= PHOTO_PAUSE_MS));
    }
    // The author did not have to give it five times over.
    let pieces = usize::try_from(PHOTO_MAX_BYTES / PHOTO_PIECE_BYTES).unwrap();
    assert!(air.devices[0].gave.len() >= pieces);
    // At rest nothing is due.
    assert!(air.devices.iter().all(|one| one.photos.due().is_none()));
}

#[test]
fn nothing_moves_between_devices_that_do_not_hold_the_same_entries() {
    let mut air = Air::new(&[Honest; 2]);
    let content = picture(1, 40_000);
    let photo = air.name(0, &content);
    air.put(0, &content);
    air.not_level.insert(1);
    air.run(60_000);
    assert!(!air.has(1, &photo) && air.devices[0].gave.is_empty());
    air.not_level.clear();
    air.run(2_000);
    assert!(air.has(1, &photo));
}

#[test]
fn what_was_begun_goes_on_from_another_device() {
    let mut air = Air::new(&[Honest; 3]);
    let content = picture(1, 400_000);
    let photo = air.name(0, &content);
    air.put(0, &content);
    air.put(1, &content);
    // By its author first.
    air.run(1_000);
    let begun = air.devices[0].gave.len();
    assert!(begun > 5 && air.devices[1].gave.is_empty());
    air.lose(0);
    air.run(60_000);
    assert!(air.has(2, &photo));
    let pieces = 400_000_usize.div_ceil(PHOTO_PIECE_BYTES as usize);
    let rest = air.devices[1].gave.len();
    assert!(
        rest <= pieces - begun + 1,
        "{rest} of {pieces}: from the beginning again"
    );
}

#[test]
fn who_sends_wrong_bytes_is_told_and_not_asked_again() {
    for (manner, pieces) in [(Lies, 13), (Short, 1)] {
        let mut air = Air::new(&[manner, Honest, Honest]);
        let content = picture(1, 100_000);
        let photo = air.name(0, &content);
        for at in [0, 1] {
            air.put(at, &content);
        }
        air.run(60_000);
        assert!(air.has(2, &photo), "{manner:?}");
        let faults = &air.devices[2].faults;
        let expected = match manner {
            Lies => PhotoFault::Content { hash: photo.hash },
            _ => PhotoFault::Piece {
                found: PHOTO_PIECE_BYTES as usize - 1,
                expected: PHOTO_PIECE_BYTES as usize,
            },
        };
        assert_eq!(*faults, [(key(0), expected)], "{manner:?}");
        assert_eq!(air.devices[0].gave.len(), pieces, "{manner:?}");
    }
}

#[test]
fn of_two_that_gave_together_the_liar_is_found_and_the_other_is_not_blamed() {
    let mut air = Air::new(&[Lies, Honest, Honest]);
    let content = picture(1, 100_000);
    let photo = air.name(0, &content);
    for at in [0, 1] {
        air.put(at, &content);
    }
    air.run(400);
    let begun = air.devices[0].gave.len();
    assert!(begun > 2);
    air.lose(0);
    air.run(700);
    assert!(air.devices[1].gave.len() > 2);
    air.down.clear();
    air.run(60_000);
    assert!(air.has(2, &photo));
    let blamed: Vec<DeviceKey> = air.devices[2].faults.iter().map(|(of, _)| *of).collect();
    assert!(!blamed.contains(&key(1)), "{blamed:?}");
}

#[test]
fn who_says_nothing_or_nonsense_does_not_stop_it() {
    for manner in [Silent, Garbage] {
        let mut air = Air::new(&[manner, Honest, Honest]);
        let content = picture(1, 100_000);
        let photo = air.name(0, &content);
        for at in [0, 1] {
            air.put(at, &content);
        }
        air.run(30_000);
        assert!(air.has(2, &photo), "{manner:?}");
        let told = air.devices[2].faults.len();
        assert_eq!(told, usize::from(manner == Garbage));
    }
}

#[test]
fn what_nobody_has_is_asked_for_ever_more_seldom_and_keeps_nothing_waiting() {
    let mut air = Air::new(&[Honest; 3]);
    let nowhere = air.name(0, &picture(1, 50_000));
    let content = picture(2, 50_000);
    let photo = air.name(0, &content);
    air.put(0, &content);
    air.run(10_000);
    assert!(air.has(1, &photo) && !air.has(1, &nowhere));
    // Asks of an hour, of two devices each: about one a minute.
    let waits: Vec<u64> = air.devices[1]
        .photos
        .lacking
        .values()
        .map(|(_, wait)| *wait)
        .collect();
    assert_eq!(waits.len(), 2);
    air.run(3_600_000);
    let longest = air.devices[1]
        .photos
        .lacking
        .values()
        .map(|(_, wait)| *wait)
        .max();
    assert_eq!(longest, Some(60_000));
}

#[test]
fn a_photo_that_is_lost_is_fetched_again_and_a_damaged_one_is_not_given() {
    let mut air = Air::new(&[Honest; 3]);
    let content = picture(1, 60_000);
    let photo = air.name(0, &content);
    air.put(0, &content);
    air.run(10_000);
    assert!(air.has(1, &photo) && air.has(2, &photo));
    // Damaged at device 1 without its knowledge, gone at device 2.
    air.devices[1].disk.get_mut(&photo.hash).unwrap()[9] ^= 1;
    air.devices[2].disk.clear();
    air.not_level.insert(0);
    air.input(2, PhotoInput::Lost(photo.hash));
    air.run(10_000);
    assert!(!air.has(2, &photo), "nobody who is level has a good one");
    assert!(air.devices[2].faults.is_empty());
    air.not_level.clear();
    air.run(60_000);
    for at in [1, 2] {
        assert_eq!(air.devices[at].disk.get(&photo.hash), Some(&content));
    }
}

#[test]
fn a_full_disk_is_tried_again_later() {
    let mut air = Air::new(&[Honest; 2]);
    let content = picture(1, 20_000);
    let photo = air.name(0, &content);
    air.put(0, &content);
    air.devices[1].disk_is_full = true;
    air.run(200_000);
    assert_eq!(
        air.devices[0].gave.len(),
        3,
        "once, and not again and again"
    );
    air.devices[1].disk_is_full = false;
    air.run(200_000);
    assert!(air.has(1, &photo));
}

#[test]
fn nothing_is_given_that_the_log_does_not_name() {
    let mut air = Air::new(&[Honest; 2]);
    let content = picture(1, 20_000);
    air.put(0, &content);
    let ask = |bytes| {
        PhotoMessage::Ask(PhotoAsk {
            hash: PhotoHash::of(&content),
            bytes,
            offset: 0,
        })
    };
    let asks = |bytes: u32, air: &mut Air| {
        let bytes = ask(bytes).encode().to_vec();
        let from = key(1);
        air.input(0, PhotoInput::Message { from, bytes });
        air.run(1_000);
    };
    asks(20_000, &mut air);
    assert!(air.devices[0].gave.is_empty());
    let photo = Photo::of(&content).unwrap();
    air.devices[0].photos.named.name(key(0), photo);
    // Somebody names it with another length: it is nowhere, and the good one stays.
    let wrong = Photo {
        bytes: 30_000,
        ..photo
    };
    air.devices[0].photos.named.name(key(1), wrong);
    asks(30_000, &mut air);
    assert!(air.devices[0].gave.is_empty());
    assert!(air.devices[0].photos.here().contains_key(&photo.hash));
    asks(20_000, &mut air);
    assert_eq!(air.devices[0].gave.len(), 1, "what was asked for");
}

#[test]
fn both_sides_of_the_bounds_of_what_is_kept() {
    let photo = |n: u64, bytes: u32| {
        let mut hash = [0; 32];
        hash[..8].copy_from_slice(&n.to_le_bytes());
        Photo {
            hash: PhotoHash(hash),
            bytes,
            media: Media::Png,
        }
    };
    let mut named = Named::default();
    for bytes in [0, PHOTO_MAX_BYTES + 1] {
        named.name(key(0), photo(u64::from(bytes), bytes));
        assert!(named.fetched().next().is_none(), "{bytes}");
    }
    let of_one = PHOTOS_OF_ONE_MAX_BYTES / u64::from(PHOTO_MAX_BYTES);
    let all = PHOTOS_MAX_BYTES / u64::from(PHOTO_MAX_BYTES);
    let mut n = 0;
    for by in 1..=20 {
        for _ in 0..=of_one {
            n += 1;
            named.name(key(by), photo(n, PHOTO_MAX_BYTES));
            // The same again takes no room.
            named.name(key(by), photo(n, PHOTO_MAX_BYTES));
        }
    }
    let of = |by: u8| named.fetched().filter(|one| one.by == key(by)).count() as u64;
    assert_eq!(of(1), of_one);
    assert_eq!(named.fetched().count() as u64, all);
    assert!(!named.has_room(&key(40), 1));
    let mut named = Named::default();
    for n in 0..=PHOTOS_OF_ONE_MAX as u64 {
        named.name(key(1), photo(n, 1));
    }
    assert_eq!(named.fetched().count(), PHOTOS_OF_ONE_MAX);
    assert_eq!(named.all().len(), PHOTOS_OF_ONE_MAX + 1);
}

#[test]
fn what_the_log_names_is_found_as_it_grows() {
    use crate::log::entry::{Body, Note, NoteKind};
    use crate::log::sample;
    let (mut graph, job) = sample::crewed();
    let author = sample::author(0);
    let photo = Photo::of(&picture(1, 5_000)).unwrap();
    let body = Body::Note(Note {
        text: "seen from below".into(),
        about: None,
        kind: NoteKind::Photo(photo),
    });
    let mut photos = Photos::default();
    photos.learn(&graph);
    assert!(photos.named().all().is_empty() && !photos.is_busy());
    let entry = author.next(&graph, sample::WALL, job, body).unwrap();
    graph.insert(sample::verified(entry)).unwrap();
    photos.learn(&graph);
    photos.learn(&graph);
    assert_eq!(photos.named().all().len(), 1);
    assert_eq!(
        photos.named().find(&photo.hash, None).unwrap().by,
        author.device()
    );
    assert!(photos.is_busy());
}

#[test]
fn whatever_bytes_come_they_are_a_message_or_none() {
    let good = PhotoMessage::Piece {
        hash: PhotoHash([3; 32]),
        offset: 8_192,
        content: vec![7; PHOTO_PIECE_BYTES as usize],
    };
    let bytes = good.encode();
    assert_eq!(PhotoMessage::decode(&bytes), Ok(good));
    let over = PhotoMessage::Piece {
        hash: PhotoHash([3; 32]),
        offset: 0,
        content: vec![7; PHOTO_PIECE_BYTES as usize + 1],
    };
    assert_eq!(
        PhotoMessage::decode(&over.encode()),
        Err(BadPhotoMessage::Encoding)
    );
    let long = vec![0; PHOTO_MESSAGE_MAX_BYTES + 1];
    assert_eq!(
        PhotoMessage::decode(&long),
        Err(BadPhotoMessage::Length { found: long.len() })
    );
    let mut draw = crate::log::sample::Draw(5);
    for _ in 0..20_000 {
        let mut some = bytes.to_vec();
        some.truncate(draw.below(80));
        for _ in 0..draw.below(4) {
            let at = draw.below(some.len().max(1));
            if let Some(byte) = some.get_mut(at) {
                *byte = u8::try_from(draw.below(256)).unwrap();
            }
        }
        if let Ok(message) = PhotoMessage::decode(&some) {
            assert_eq!(*message.encode(), some[..]);
        }
    }
}
