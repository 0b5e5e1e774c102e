//! Proof: how old the newest proof of life of each other device is, by this device's clock alone.
//! Owns: what was sent when, and the newest proof of each device.   Gives: ages, standings, echoes.
//! May use: ids, time, beacon.   Never: another device's clock; whether the crew may go on (state::call).
//!
//! Rules, each with a test that shows what goes wrong without it:
//! - PAIRED: age, head, quiet mark and holdings come from one and the same beacon.
//! - BOOT: an echo of another boot, or of a counter never sent, proves nothing.
//! - BOOTTIME: ticks count through suspend (the driver's clock), so a slept hour ages a proof by an hour.
//! - SILENCE: the newest word of a device counts against it at once, even when it proves nothing.
//! - HAVE: what a device said it held it still holds, within one boot.

use crate::bounds::DEVICES_MAX;
use crate::ids::{BootId, DeviceKey, DeviceTag};
use crate::time::Tick;
use crate::watch::beacon::{Beacon, Echo, SignedBeacon};
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

/// Own beacons whose sending time is kept: over a minute at the default cadence, and no proof that is
/// older matters to anyone.
const SENT_MAX: usize = 512;
/// Boots of one device whose newest counter is kept, so that a late copy is not taken for news.
const BOOTS_MAX: usize = 4;

/// The newest proof of life of one device: all from one beacon (PAIRED).
#[derive(Clone, PartialEq, Eq, Debug)]
struct Proof {
    /// When the echoed own beacon was sent: the device was alive after that.
    since: Tick,
    boot: BootId,
    counter: u32,
    quiet: bool,
    head: u32,
    have: Have,
}

/// What a device said it held; shared, as it is looked at far more often than it changes.
type Have = Arc<BTreeMap<DeviceTag, u32>>;

#[derive(Clone, Debug)]
struct BootHeard {
    boot: BootId,
    counter: u32,
    have: Have,
}

#[derive(Clone, Debug, Default)]
struct Other {
    boots: VecDeque<BootHeard>,
    newest: Option<SignedBeacon>,
    newest_at: Tick,
    proof: Option<Proof>,
    /// For each device that it hears: the newest echo that it told of, and when that was first told here.
    told: BTreeMap<DeviceTag, (Echo, Tick)>,
}

/// What is known of another device at one moment.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Standing {
    /// Age of the newest proof of life, ms.
    pub age_ms: Option<u64>,
    /// Whether that proof, and the newest word of the device, was quiet.
    pub quiet: bool,
    /// How many own entries it had on disk in that proof.
    pub head: u32,
    /// What it then held of each chain, its own included.
    pub have: Arc<BTreeMap<DeviceTag, u32>>,
}

/// What a beacon did.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Accepted {
    /// The tick of the own beacon that it echoes, if that proves anything.
    pub since: Option<Tick>,
}

/// The watch of one device over the others.
#[derive(Clone, Debug)]
pub struct Watch {
    me: DeviceTag,
    boot: BootId,
    counter: u32,
    sent: VecDeque<(u32, Tick)>,
    others: BTreeMap<DeviceKey, Other>,
}

impl Watch {
    /// A watch that has heard nobody.
    #[must_use]
    pub fn new(me: &DeviceKey, boot: BootId) -> Self {
        Self {
            me: me.tag(),
            boot,
            counter: 0,
            sent: VecDeque::new(),
            others: BTreeMap::new(),
        }
    }

    /// The counter of the beacon that is sent at `now`.
    pub fn count(&mut self, now: Tick) -> u32 {
        self.counter = self.counter.saturating_add(1);
        self.sent.push_back((self.counter, now));
        if self.sent.len() > SENT_MAX {
            self.sent.pop_front();
        }
        self.counter
    }

    /// Whether a beacon claims to be newer than all heard of its boot. Asked before its signature is
    /// checked, so that the many copies that bundles bring cost nothing.
    #[must_use]
    pub fn is_news(&self, device: &DeviceKey, boot: BootId, counter: u32) -> bool {
        self.others.get(device).is_none_or(|other| {
            other
                .boots
                .iter()
                .find(|heard| heard.boot == boot)
                .is_none_or(|heard| heard.counter < counter)
        })
    }

    /// Takes in a beacon of `device` whose signature is good; `None` if it was no news.
    pub fn accept(
        &mut self,
        device: &DeviceKey,
        signed: SignedBeacon,
        now: Tick,
    ) -> Option<Accepted> {
        if !self.is_news(device, signed.beacon.boot, signed.beacon.counter) {
            return None;
        }
        let since = self.echoed(&signed.beacon);
        let other = self.others.entry(*device).or_default();
        let have = other.note_boot(&signed.beacon);
        for row in &signed.beacon.rows {
            let known = other.told.get(&row.device);
            if let Some(echo) = row.echo
                && known.is_none_or(|told| told.0 != echo)
                && (known.is_some() || other.told.len() < DEVICES_MAX)
            {
                other.told.insert(row.device, (echo, now));
            }
        }
        if let Some(since) = since {
            let beacon = &signed.beacon;
            // A device's echoes only grow within a boot, so of equal echoes the later word counts; of two boots
            // nobody knows which is the later.
            if other.proof.as_ref().is_none_or(|old| {
                old.since < since || (old.since == since && old.boot == beacon.boot)
            }) {
                other.proof = Some(Proof {
                    since,
                    boot: beacon.boot,
                    counter: beacon.counter,
                    quiet: beacon.quiet(),
                    head: beacon.head,
                    have,
                });
            }
        }
        other.newest = Some(signed);
        other.newest_at = now;
        Some(Accepted { since })
    }

    /// BOOT: when the own beacon was sent that this one echoes, if it was one of this boot.
    #[must_use]
    pub fn echoed(&self, beacon: &Beacon) -> Option<Tick> {
        let echo = beacon
            .rows
            .iter()
            .find(|row| row.device == self.me)
            .and_then(|row| row.echo)?;
        if echo.boot != self.boot {
            return None;
        }
        let first = self.sent.front()?.0;
        let offset = echo.counter.checked_sub(first)?;
        self.sent.get(offset as usize).map(|&(_, tick)| tick)
    }

    /// What is known of a device now.
    #[must_use]
    pub fn standing(&self, device: &DeviceKey, now: Tick) -> Standing {
        let other = self.others.get(device);
        let newest_quiet = other.is_none_or(Other::newest_quiet);
        match other.and_then(|other| other.proof.as_ref()) {
            Some(proof) => Standing {
                age_ms: Some(now.since(proof.since)),
                quiet: proof.quiet && newest_quiet,
                head: proof.head,
                have: Arc::clone(&proof.have),
            },
            None => Standing {
                age_ms: None,
                quiet: newest_quiet,
                head: 0,
                have: Have::default(),
            },
        }
    }

    /// How long ago, for all that is known here, one device had news of another, ms; `None`: it never told of any.
    /// For people to see where a link is weak: it proves nothing and judges nothing.
    #[must_use]
    pub fn hears(&self, by: &DeviceKey, of: &DeviceKey, now: Tick) -> Option<u64> {
        if of.tag() == self.me {
            let since = self.echoed(&self.newest(by)?.beacon)?;
            return Some(now.since(since));
        }
        if by.tag() == self.me {
            return self.standing(of, now).age_ms;
        }
        let (_, told_at) = self.others.get(by)?.told.get(&of.tag())?;
        Some(now.since(*told_at))
    }

    /// When the newest proof of life of a device dates from.
    #[must_use]
    pub fn proved_at(&self, device: &DeviceKey) -> Option<Tick> {
        let proof = self.others.get(device)?.proof.as_ref()?;
        Some(proof.since)
    }

    /// What a device held in its newest proof of life; `None`: there is no proof.
    #[must_use]
    pub fn proved_have(&self, device: &DeviceKey) -> Option<&BTreeMap<DeviceTag, u32>> {
        let proof = self.others.get(device)?.proof.as_ref()?;
        Some(&proof.have)
    }

    /// The newest beacon of a device, whether it proves anything or not.
    #[must_use]
    pub fn newest(&self, device: &DeviceKey) -> Option<&SignedBeacon> {
        self.others.get(device)?.newest.as_ref()
    }

    /// What a device said it held, by its newest word; empty before it said any.
    #[must_use]
    pub fn newest_have(&self, device: &DeviceKey) -> Option<&BTreeMap<DeviceTag, u32>> {
        let other = self.others.get(device)?;
        let newest = other.newest.as_ref()?;
        other
            .boots
            .iter()
            .find(|heard| heard.boot == newest.beacon.boot)
            .map(|heard| &*heard.have)
    }

    /// Beacons of others heard within `fresh_ms`, newest first, to be passed on.
    pub fn to_pass_on(&self, now: Tick, fresh_ms: u64) -> Vec<(&DeviceKey, &SignedBeacon)> {
        let mut recent: Vec<_> = self
            .others
            .iter()
            .filter(|(_, other)| now.since(other.newest_at) <= fresh_ms)
            .filter_map(|(device, other)| Some((other.newest_at, device, other.newest.as_ref()?)))
            .collect();
        recent.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
        recent
            .into_iter()
            .map(|(_, device, beacon)| (device, beacon))
            .collect()
    }

    /// The echo to send for a device.
    #[must_use]
    pub fn echo(&self, device: &DeviceKey) -> Option<Echo> {
        let newest = &self.newest(device)?.beacon;
        Some(Echo {
            boot: newest.boot,
            counter: newest.counter,
        })
    }

    /// Forgets devices that are not on the job, so that memory is bounded by the crew.
    pub fn keep_only(&mut self, present: impl Fn(&DeviceKey) -> bool) {
        self.others.retain(|device, _| present(device));
    }
}

impl Other {
    /// SILENCE: whether its newest word is quiet. One of another boot than that of the proof may be an old one that
    /// somebody kept and sends again, in the place of a newer one that was not quiet: it says nothing.
    fn newest_quiet(&self) -> bool {
        let Some(newest) = &self.newest else {
            return true;
        };
        let boot_proved = |proof: &Proof| proof.boot == newest.beacon.boot;
        newest.beacon.quiet() && self.proof.as_ref().is_none_or(boot_proved)
    }

    /// Notes counter and holdings for the beacon's boot; what it holds after that.
    fn note_boot(&mut self, beacon: &Beacon) -> Have {
        let at = match self
            .boots
            .iter()
            .position(|heard| heard.boot == beacon.boot)
        {
            Some(at) => at,
            None => {
                if self.boots.len() == BOOTS_MAX {
                    self.boots.pop_front();
                }
                self.boots.push_back(BootHeard {
                    boot: beacon.boot,
                    counter: 0,
                    have: Have::default(),
                });
                self.boots.len() - 1
            }
        };
        let heard = &mut self.boots[at];
        heard.counter = beacon.counter;
        // Not a maximum: below a fork found later a device holds fewer than it thought.
        let own = core::iter::once((beacon.device, beacon.head));
        for (author, count) in own.chain(beacon.rows.iter().map(|row| (row.device, row.have))) {
            let known = heard.have.get(&author);
            // There are no more authors than that: whoever tells of more makes them up.
            if known != Some(&count) && (known.is_some() || heard.have.len() < DEVICES_MAX) {
                Arc::make_mut(&mut heard.have).insert(author, count);
            }
        }
        Arc::clone(&heard.have)
    }
}

/// How long to the next beacon, ms: hurried while any present device's proof is missing or older than
/// half the limit, so that one lost datagram more does not make a Hold.
#[must_use]
pub fn cadence_ms(oldest_age_ms: Option<u64>, watch_limit_ms: u64) -> u64 {
    match oldest_age_ms {
        Some(age) if age <= watch_limit_ms / 2 => crate::bounds::BEACON_MS,
        _ => crate::bounds::BEACON_HURRIED_MS,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use crate::ids::JobId;
    use crate::log::signatures::Ed25519;
    use crate::watch::beacon::Row;
    use ed25519_zebra::SigningKey;

    const JOB: JobId = JobId([1; 32]);
    const BOOT: BootId = BootId(11);

    fn key(n: u8) -> SigningKey {
        SigningKey::from([n; 32])
    }

    fn device(n: u8) -> DeviceKey {
        DeviceKey(ed25519_zebra::VerificationKey::from(&key(n)).into())
    }

    fn watch() -> Watch {
        Watch::new(&device(1), BOOT)
    }

    /// A beacon of device 2 that echoes (boot, counter) of device 1.
    fn from_two(boot: u64, counter: u32, echo: Option<(BootId, u32)>, head: u32) -> Beacon {
        let mut beacon = Beacon::new(&JOB, &device(2), BootId(boot), counter);
        beacon.head = head;
        beacon.rows = vec![Row {
            device: device(1).tag(),
            have: 1,
            echo: echo.map(|(boot, counter)| Echo { boot, counter }),
        }];
        beacon
    }

    fn take(watch: &mut Watch, beacon: Beacon, now: u64) -> Option<Accepted> {
        let signed = beacon.sign(&Ed25519, &key(2)).unwrap();
        watch.accept(&device(2), signed, Tick(now))
    }

    fn age(watch: &Watch, now: u64) -> Option<u64> {
        watch.standing(&device(2), Tick(now)).age_ms
    }

    #[test]
    fn a_proof_is_as_old_as_the_beacon_it_echoes_not_as_its_own_arrival() {
        let mut watch = watch();
        let first = watch.count(Tick(1_000));
        watch.count(Tick(1_250));
        take(&mut watch, from_two(5, 1, Some((BOOT, first)), 3), 4_000);
        assert_eq!(age(&watch, 4_000), Some(3_000));
        assert_eq!(
            age(&watch, 3_600_000),
            Some(3_599_000),
            "BOOTTIME: a slept hour counts"
        );
    }

    #[test]
    fn no_echo_proves_nothing() {
        let mut watch = watch();
        watch.count(Tick(1_000));
        assert!(take(&mut watch, from_two(5, 1, None, 3), 1_001).is_some());
        assert_eq!(age(&watch, 1_001), None);
    }

    #[test]
    fn boot_an_echo_of_another_boot_or_of_a_counter_never_sent_proves_nothing() {
        let mut watch = watch();
        let sent = watch.count(Tick(1_000));
        take(
            &mut watch,
            from_two(5, 1, Some((BootId(10), sent)), 3),
            1_100,
        );
        assert_eq!(age(&watch, 1_100), None, "another boot");
        take(&mut watch, from_two(5, 2, Some((BOOT, sent + 1)), 3), 1_100);
        assert_eq!(age(&watch, 1_100), None, "never sent");
        take(&mut watch, from_two(5, 3, Some((BOOT, sent)), 3), 1_100);
        assert_eq!(age(&watch, 1_100), Some(100));
    }

    #[test]
    fn silence_an_old_boots_word_sent_again_takes_the_place_of_no_newer_one() {
        // The newer one is the proof, or only the newest word.
        for echoes in [true, false] {
            let mut watch = watch();
            let first = watch.count(Tick(1_000));
            let echo = Some((BOOT, first));
            let old = from_two(5, 7, echo, 3);
            take(&mut watch, from_two(6, 1, echo, 3), 1_100);
            assert!(watch.standing(&device(2), Tick(1_100)).quiet);
            let mut pressed = from_two(6, 2, echo.filter(|_| echoes), 3);
            pressed.pressed = true;
            take(&mut watch, pressed, 1_200);
            assert!(!watch.standing(&device(2), Tick(1_200)).quiet);
            assert!(take(&mut watch, old, 1_300).is_some());
            let standing = watch.standing(&device(2), Tick(1_300));
            assert!(!standing.quiet, "kept from before the restart, {echoes}");
            assert_eq!(standing.age_ms, Some(300));
            // Whoever did start again is believed once it answers what was sent since.
            let second = watch.count(Tick(1_400));
            take(&mut watch, from_two(7, 1, Some((BOOT, second)), 3), 1_450);
            assert!(watch.standing(&device(2), Tick(1_450)).quiet);
        }
    }

    #[test]
    fn paired_head_quiet_and_age_come_from_the_same_beacon() {
        let mut watch = watch();
        let first = watch.count(Tick(1_000));
        take(&mut watch, from_two(5, 1, Some((BOOT, first)), 3), 1_100);
        // A newer beacon with a higher head that echoes nothing of ours moves neither head nor age.
        take(&mut watch, from_two(5, 2, None, 9), 1_200);
        let standing = watch.standing(&device(2), Tick(1_200));
        assert_eq!((standing.age_ms, standing.head), (Some(200), 3));
        assert_eq!(standing.have.get(&device(2).tag()), Some(&3));
    }

    #[test]
    fn of_equal_echoes_the_later_word_counts_and_an_older_beacon_is_no_news() {
        let mut watch = watch();
        let first = watch.count(Tick(1_000));
        take(&mut watch, from_two(5, 2, Some((BOOT, first)), 4), 1_200);
        assert_eq!(
            take(&mut watch, from_two(5, 1, Some((BOOT, first)), 3), 1_300),
            None
        );
        take(&mut watch, from_two(5, 3, Some((BOOT, first)), 5), 1_300);
        assert_eq!(watch.standing(&device(2), Tick(1_300)).head, 5);
    }

    #[test]
    fn silence_a_pressed_stop_counts_at_once_even_without_an_echo() {
        let mut watch = watch();
        let first = watch.count(Tick(1_000));
        take(&mut watch, from_two(5, 1, Some((BOOT, first)), 3), 1_100);
        assert!(watch.standing(&device(2), Tick(1_100)).quiet);
        let mut pressed = from_two(5, 2, None, 3);
        pressed.pressed = true;
        take(&mut watch, pressed, 1_200);
        assert!(!watch.standing(&device(2), Tick(1_200)).quiet);
    }

    #[test]
    fn a_late_copy_from_an_older_boot_does_not_replace_a_newer_proof() {
        let mut watch = watch();
        let early = watch.count(Tick(1_000));
        let late = watch.count(Tick(2_000));
        take(&mut watch, from_two(6, 1, Some((BOOT, late)), 8), 2_100);
        take(&mut watch, from_two(5, 900, Some((BOOT, early)), 3), 2_200);
        let standing = watch.standing(&device(2), Tick(2_200));
        assert_eq!((standing.age_ms, standing.head), (Some(200), 8));
    }

    #[test]
    fn have_rows_left_out_for_want_of_room_still_hold_within_one_boot() {
        let mut watch = watch();
        let sent = watch.count(Tick(1_000));
        let mut with_row = from_two(5, 1, Some((BOOT, sent)), 3);
        with_row.rows.push(Row {
            device: DeviceTag([7; 8]),
            have: 40,
            echo: None,
        });
        take(&mut watch, with_row, 1_100);
        take(&mut watch, from_two(5, 2, Some((BOOT, sent)), 3), 1_200);
        let have = |watch: &Watch| {
            watch
                .standing(&device(2), Tick(1_200))
                .have
                .get(&DeviceTag([7; 8]))
                .copied()
        };
        assert_eq!(have(&watch), Some(40));
        let sent = watch.count(Tick(1_300));
        take(&mut watch, from_two(6, 1, Some((BOOT, sent)), 3), 1_400);
        assert_eq!(have(&watch), None, "another boot may have lost its disk");
    }

    #[test]
    fn beacons_hurry_once_a_proof_is_older_than_half_the_limit() {
        assert_eq!(cadence_ms(Some(2_000), 4_000), crate::bounds::BEACON_MS);
        assert_eq!(
            cadence_ms(Some(2_001), 4_000),
            crate::bounds::BEACON_HURRIED_MS
        );
        assert_eq!(cadence_ms(None, 4_000), crate::bounds::BEACON_HURRIED_MS);
    }

    #[test]
    fn who_makes_up_authors_fills_no_memory_and_still_says_what_it_holds_itself() {
        let mut watch = watch();
        for counter in 1..200_u32 {
            let mut beacon = from_two(5, counter, None, counter);
            let made_up = |n: u32| {
                let [a, b, c, d] = (counter * 100 + n).to_le_bytes();
                DeviceTag([a, b, c, d, 9, 9, 9, 9])
            };
            let echo = Some(Echo {
                boot: BOOT,
                counter,
            });
            beacon.rows = (0..60)
                .map(|n| Row {
                    device: made_up(n),
                    have: 1,
                    echo,
                })
                .collect();
            take(&mut watch, beacon, u64::from(counter)).unwrap();
        }
        let have = watch.newest_have(&device(2)).unwrap();
        assert_eq!(have.len(), DEVICES_MAX);
        assert_eq!(have.get(&device(2).tag()), Some(&199));
        assert_eq!(watch.others[&device(2)].told.len(), DEVICES_MAX);
    }

    #[test]
    fn who_hears_whom_is_as_old_as_the_news_of_it() {
        let mut watch = watch();
        let row = |n: u8, echo: u32| Row {
            device: device(n).tag(),
            have: 0,
            echo: Some(Echo {
                boot: BootId(9),
                counter: echo,
            }),
        };
        let mut say = |counter: u32, echo: u32, at: u64| {
            let mut beacon = Beacon::new(&JOB, &device(2), BootId(2), counter);
            beacon.rows = vec![row(3, echo)];
            let signed = beacon.sign(&Ed25519, &key(2)).unwrap();
            watch.accept(&device(2), signed, Tick(at)).unwrap();
            watch.hears(&device(2), &device(3), Tick(at + 10))
        };
        assert_eq!(say(1, 5, 1_000), Some(10));
        // The same echo again is no news, a new one is.
        assert_eq!(say(2, 5, 1_250), Some(260));
        assert_eq!(say(3, 6, 1_500), Some(10));
        assert_eq!(watch.hears(&device(3), &device(2), Tick(1_500)), None);
        // Of this device it is what is echoed of it, by when that was sent.
        let count = watch.count(Tick(2_000));
        let beacon = from_two(2, 4, Some((BOOT, count)), 0);
        let signed = beacon.sign(&Ed25519, &key(2)).unwrap();
        watch.accept(&device(2), signed, Tick(2_040)).unwrap();
        assert_eq!(watch.hears(&device(2), &device(1), Tick(2_100)), Some(100));
        assert_eq!(watch.hears(&device(1), &device(2), Tick(2_100)), Some(100));
    }
}
