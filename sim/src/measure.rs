//! Measure: how fast a stop spreads, how often a crew holds for want of contact, and what it sends, in a given air.
//! Owns: the settings of one measurement.   Gives: numbers of virtual time; nothing here looks at a real clock.
//! May use: world, script.   Never: a judgement (run has those), threads, files.

use crate::radio::{Air, Bursts};
use crate::script::{SPARES, crew_of};
use crate::signing::Signing;
use crate::world::{Options, World};
use gantline_protocol::engine::Command;
use gantline_protocol::log::entry::StopKind;
use gantline_protocol::plan::{self, Plan};

/// After the last admission the crew has so long in clear air to be briefed and to find each other, ms.
const SETTLE_MS: u64 = 5_000;
/// The air is so long as it is to be before anything is measured, ms.
const AIR_MS: u64 = 3_000;
/// Calls are looked at so often, ms.
const SAMPLE_MS: u64 = 100;
/// A stop that some device has not shown after so long is counted as not shown, ms.
const SHOWN_WITHIN_MS: u64 = 30_000;
/// Mean length of a bad spell, ms.
const BURST_MS: u64 = 1_000;
/// Datagrams lost while a radio fades, in a hundred.
const FADE_LOSS: u64 = 80;

/// How datagrams get lost.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Loss {
    /// Each for itself.
    Alone,
    /// In spells of a second on a pair: a third can carry.
    OnPairs,
    /// In spells of a second in which a device's whole radio fades and four of five are lost: nobody can carry.
    Fading,
    /// In spells of a second in which a device's whole radio is deaf and dumb.
    OnRadios,
}

impl Loss {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Alone, Self::OnPairs, Self::Fading, Self::OnRadios];

    /// Its name, for tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Alone => "each alone",
            Self::OnPairs => "1 s bursts of a pair",
            Self::Fading => "1 s fades of a radio",
            Self::OnRadios => "1 s bursts of a radio",
        }
    }

    /// An air in which so many in a hundred are lost on the way from one radio on average, at most 70.
    #[must_use]
    pub fn air(self, percent: u64) -> Air {
        let percent = percent.min(70);
        let mut air = Air {
            delay_ms: (1, 20),
            ..Air::CLEAR
        };
        let bursts = |loss: u64| {
            (percent > 0).then(|| Bursts {
                good_ms: BURST_MS * (loss - percent) / percent,
                bad_ms: BURST_MS,
                loss,
            })
        };
        match self {
            Self::Alone => air.loss = percent,
            Self::OnPairs => air.pairs = bursts(100),
            Self::Fading => air.devices = bursts(FADE_LOSS),
            Self::OnRadios => air.devices = bursts(100),
        }
        air
    }
}

/// What is measured in.
#[derive(Clone, Copy, Debug)]
pub struct Setting {
    /// Devices in the crew.
    pub devices: usize,
    /// The air.
    pub air: Air,
    /// Oldest proof of life with which a device says Proceed, ms.
    pub watch_limit_ms: u64,
}

fn small() -> Option<Plan> {
    plan::parse("small", plan::SMALL).ok()
}

/// The watch limit that a plan has which says nothing of it, ms.
#[must_use]
pub fn usual_watch_limit_ms() -> u64 {
    gantline_protocol::bounds::WATCH_LIMIT_MS
}

/// A crew on the job in the setting's air, whose people do nothing more.
fn settled(setting: &Setting, seed: u64) -> Option<World> {
    let mut plan = small()?;
    plan.times.watch_limit_ms = setting.watch_limit_ms;
    let crew = crew_of(&plan, setting.devices);
    let options = Options {
        seed,
        air: Air::CLEAR,
        plan,
        crew,
        think_ms: (200, 900),
    };
    let mut world = World::signing(options, Signing::Simulated);
    let devices = world.devices.len() - SPARES;
    for device in 1..devices {
        world.admit(device);
    }
    world.run_for(SETTLE_MS);
    for device in &mut world.devices {
        device.willing = false;
    }
    world.radio.air = setting.air;
    world.run_for(AIR_MS);
    Some(world)
}

/// From a press to each other device, over many stops.
#[derive(Clone, Debug, Default)]
pub struct Spread {
    /// After how long each other device showed it, ms, in order.
    pub shown_ms: Vec<u64>,
    /// From each press to the last device, ms, in order.
    pub all_ms: Vec<u64>,
    /// Devices that had not shown it half a minute later.
    pub not_shown: usize,
}

/// Presses one stop in each of `stops` crews.
#[must_use]
pub fn spread(setting: &Setting, seed: u64, stops: u64) -> Spread {
    let mut spread = Spread::default();
    for number in 0..stops {
        let Some(mut world) = settled(setting, seed.wrapping_mul(1_000_003) + number) else {
            continue;
        };
        let on = world.devices.iter().filter(|device| device.is_on()).count();
        // Not on the beat of the beacons.
        let wait_ms = world.chance().between(0, 1_000);
        world.run_for(wait_ms);
        let presser = usize::try_from(number).unwrap_or(0) % on;
        let stop = Command::Stop {
            kind: StopKind::Work,
            why: "measured".to_owned(),
            item: None,
        };
        world.do_now(presser, stop);
        let shown = |world: &World| {
            world
                .pressed
                .iter()
                .map(|stop| stop.shown.len())
                .sum::<usize>()
        };
        world.run_until_exact(SHOWN_WITHIN_MS, |world| shown(world) >= on);
        for stop in &world.pressed {
            let others = stop
                .shown
                .iter()
                .filter(|(device, _)| *device != stop.device);
            let mut last_ms = 0;
            for (_, at) in others {
                spread.shown_ms.push(at - stop.at);
                last_ms = last_ms.max(at - stop.at);
            }
            spread.not_shown += on - stop.shown.len();
            spread.all_ms.push(last_ms);
        }
    }
    spread.shown_ms.sort_unstable();
    spread.all_ms.sort_unstable();
    spread
}

/// A value of a sorted list: the smallest that so many in a thousand do not exceed.
#[must_use]
pub fn part(sorted: &[u64], of_thousand: usize) -> u64 {
    let at = sorted.len().saturating_sub(1) * of_thousand / 1_000;
    sorted.get(at).copied().unwrap_or(0)
}

/// What a crew at rest shows and sends.
#[derive(Clone, Copy, Debug, Default)]
pub struct Rest {
    /// Looks at a device, ten a second each.
    pub looks: u64,
    /// Of those, how many were a Hold by loss. All devices were on: each of them was a false one.
    pub held: u64,
    /// How many such Holds began.
    pub begun: u64,
    /// Looked at for so long, ms.
    pub for_ms: u64,
    /// Datagrams sent by all devices.
    pub datagrams: u64,
    /// Bytes in them.
    pub bytes: u64,
}

impl Rest {
    /// Share of the devices' time in a false Hold, 0 to 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.held as f64 / self.looks.max(1) as f64
    }

    /// False Holds that begin in an hour, of the whole crew.
    #[must_use]
    pub fn begun_per_hour(&self) -> f64 {
        self.begun as f64 * 3_600_000.0 / self.for_ms.max(1) as f64
    }

    /// Datagrams a second, of the whole crew.
    #[must_use]
    pub fn datagrams_per_s(&self) -> f64 {
        self.datagrams as f64 * 1_000.0 / self.for_ms.max(1) as f64
    }

    /// Mean length of a datagram, bytes.
    #[must_use]
    pub fn mean_bytes(&self) -> f64 {
        self.bytes as f64 / self.datagrams.max(1) as f64
    }
}

/// Looks at a crew at rest for so long.
#[must_use]
pub fn rest(setting: &Setting, seed: u64, for_ms: u64) -> Rest {
    let mut rest = Rest::default();
    let Some(mut world) = settled(setting, seed) else {
        return rest;
    };
    let before = world.sent;
    let ends = world.now + for_ms;
    let mut holds = vec![false; world.devices.len()];
    while world.now < ends {
        world.run_for(SAMPLE_MS);
        rest.for_ms += SAMPLE_MS;
        for (device, was) in holds.iter_mut().enumerate() {
            let Some(engine) = world.engine(device) else {
                continue;
            };
            let by_loss = engine.call(world.clock(device)).by_loss;
            rest.looks += 1;
            rest.held += u64::from(by_loss);
            rest.begun += u64::from(by_loss && !*was);
            *was = by_loss;
        }
    }
    rest.datagrams = world.sent.datagrams - before.datagrams;
    rest.bytes = world.sent.bytes - before.bytes;
    rest
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn setting(loss: Loss, percent: u64) -> Setting {
        Setting {
            devices: 5,
            air: loss.air(percent),
            watch_limit_ms: usual_watch_limit_ms(),
        }
    }

    #[test]
    fn a_stop_is_seen_by_everybody_and_later_where_more_is_lost() {
        let clear = spread(&setting(Loss::Alone, 0), 1, 6);
        let poor = spread(&setting(Loss::Alone, 60), 1, 6);
        assert_eq!((clear.shown_ms.len(), clear.not_shown), (6 * 4, 0));
        assert_eq!((clear.all_ms.len(), poor.all_ms.len()), (6, 6));
        assert!(part(&clear.shown_ms, 1_000) <= 40, "{clear:?}");
        assert!(
            part(&poor.all_ms, 500) > part(&clear.all_ms, 500),
            "{poor:?}"
        );
        assert!(
            part(&poor.all_ms, 1_000) <= usual_watch_limit_ms() + 100,
            "{poor:?}"
        );
    }

    #[test]
    fn a_crew_holds_by_loss_only_where_much_is_lost() {
        let clear = rest(&setting(Loss::Alone, 0), 1, 10_000);
        assert_eq!((clear.looks, clear.held, clear.begun), (500, 0, 0));
        assert!(clear.datagrams > 5 * 4 * 3 * 10, "{clear:?}");
        assert!(
            clear.mean_bytes() > 100.0 && clear.mean_bytes() <= 1_200.0,
            "{clear:?}"
        );
        let deaf = rest(&setting(Loss::OnRadios, 70), 1, 10_000);
        assert!(deaf.share() > 0.3 && deaf.begun > 0, "{deaf:?}");
    }
}
