//! Script: what one run is, as values that a seed draws and a file can hold.
//! Owns: nothing.   Gives: `Script` with everything that happens in it, its drawing, its file.
//! May use: rng, plan.   Never: what comes of it (run).
//!
//! In reading order: here the values · `draw` from a seed · `crew` who holds what · `file` to text and back ·
//! `check` is every value one that a run can have.

mod check;
mod crew;
mod draw;
mod file;

pub use crew::{SPARES, crew_of};
pub use draw::{Wanted, draw};
pub use file::{BadFile, PLAIN};

use crate::people::Wild;
use crate::radio::{Air, Bursts};
use serde::{Deserialize, Serialize};

/// One run.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Script {
    /// Draws what is not written here: keys, ways of datagrams, thoughts.
    pub seed: u64,
    /// `small`, or the name of a plan that ships.
    pub plan: String,
    /// Only the plan's first so many steps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steps: Option<usize>,
    /// How many devices the crew has.
    pub devices: usize,
    /// Shortest and longest time that a person takes to do the next thing, ms.
    pub think_ms: (u64, u64),
    /// Whether signatures are those of the field; else simulated ones.
    pub real_signatures: bool,
    /// Whether people use pages; else their fingers reach the node without fail.
    pub pages: bool,
    /// The air at the beginning.
    pub air: Weather,
    /// How long faults go on, ms.
    pub first_act_ms: u64,
    /// What happens in the first act, by time.
    #[serde(default, rename = "event", skip_serializing_if = "Vec::is_empty")]
    pub events: Vec<Event>,
}

/// Something that happens in the first act.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// When, ms from the moment at which the crew is on the job.
    pub at_ms: u64,
    /// What.
    pub what: What,
}

/// How bad the air is; zeros: nothing of it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Weather {
    /// Datagrams lost, in a hundred.
    pub loss: u64,
    /// Datagrams that arrive twice, in a hundred.
    pub twice: u64,
    /// Of those so many in a hundred come the second time much later.
    pub late: u64,
    /// Longest way, ms.
    pub delay_ms: u64,
    /// Bursts of each pair: mean good spell ms, mean bad spell ms, lost in it in a hundred.
    pub pairs: (u64, u64, u64),
    /// Bursts of each device's radio, alike.
    pub radios: (u64, u64, u64),
}

impl Weather {
    /// As the radio has it.
    #[must_use]
    pub fn air(self) -> Air {
        let bursts = |(good_ms, bad_ms, loss)| {
            (bad_ms > 0).then_some(Bursts {
                good_ms,
                bad_ms,
                loss,
            })
        };
        Air {
            loss: self.loss.min(99),
            twice: self.twice,
            late: self.late,
            delay_ms: (1, self.delay_ms.max(2)),
            pairs: bursts(self.pairs),
            devices: bursts(self.radios),
        }
    }
}

/// What can happen. Devices by number; times in ms.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
#[allow(
    missing_docs,
    reason = "the fields are the things that the variant's own line names"
)]
pub enum What {
    /// The air is so from now on.
    Air(Weather),
    /// Two devices are out of earshot of each other for a while; a third may carry.
    Cut {
        one: usize,
        other: usize,
        for_ms: u64,
    },
    /// Nothing passes one way between two devices.
    CutWay { from: usize, to: usize, for_ms: u64 },
    /// A group is cut off from the rest.
    Part { group: Vec<usize>, for_ms: u64 },
    /// Power is gone for a while; of what was on its way to disk the first `torn` entries are there. `reboot`: the
    /// machine was off too, and its clock that counts through suspend begins again.
    PowerCut {
        device: usize,
        for_ms: u64,
        torn: usize,
        reboot: bool,
    },
    /// The device is gone for good.
    Dead { device: usize },
    /// Each write takes so much longer.
    SlowDisk {
        device: usize,
        by_ms: u64,
        for_ms: u64,
    },
    /// The next writes fail.
    FailingWrites { device: usize, count: u32 },
    /// The disk takes nothing.
    FullDisk { device: usize, for_ms: u64 },
    /// The device comes back with its journal as it was `back` entries ago.
    OldImage {
        device: usize,
        back: usize,
        noticed: bool,
    },
    /// The clock is fast by so many parts in a million.
    Drift { device: usize, ppm: i64 },
    /// The wall clock is set.
    WallStep { device: usize, ms: i64 },
    /// The machine sleeps.
    Suspend { device: usize, for_ms: u64 },
    /// The node does not run; what reaches it waits.
    Stall { device: usize, for_ms: u64 },
    /// The page hangs.
    PageFrozen { device: usize, for_ms: u64 },
    /// Nothing passes between page and node.
    PageCut { device: usize, for_ms: u64 },
    /// The page is closed, and opened again later.
    PageClosed { device: usize, for_ms: u64 },
    /// A device off the roster calls a stop, heard by this one.
    StrangerStop { device: usize, stranger: u8 },
    /// Bytes that nobody signed arrive on a link.
    Bytes {
        device: usize,
        from: usize,
        count: u32,
    },
    /// A device of the crew falls into bad hands: from now on somebody with its key is on the air in its place.
    Hostile { device: usize },
    /// The person at a device does something that nobody asked for.
    Person { device: usize, wild: Wild },
}

impl What {
    /// The name of the kind, for counting.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::Air(_) => "air",
            Self::Cut { .. } => "cut",
            Self::CutWay { .. } => "cut_one_way",
            Self::Part { .. } => "partition",
            Self::PowerCut { reboot: false, .. } => "restart",
            Self::PowerCut { reboot: true, .. } => "new_boot",
            Self::Dead { .. } => "dead",
            Self::SlowDisk { .. } => "slow_disk",
            Self::FailingWrites { .. } => "failing_write",
            Self::FullDisk { .. } => "full_disk",
            Self::OldImage { .. } => "old_image",
            Self::Drift { .. } => "drift",
            Self::WallStep { .. } => "wall_step",
            Self::Suspend { .. } => "suspend",
            Self::Stall { .. } => "stall",
            Self::PageFrozen { .. } => "page_frozen",
            Self::PageCut { .. } => "page_cut",
            Self::PageClosed { .. } => "page_closed",
            Self::StrangerStop { .. } => "stranger_stop",
            Self::Bytes { .. } => "random_bytes",
            Self::Hostile { .. } => "hostile",
            Self::Person { wild, .. } => wild.name(),
        }
    }
}

impl What {
    /// The devices that it names, by number.
    pub fn devices(&self) -> impl Iterator<Item = usize> + '_ {
        let (first, second, group): (Option<usize>, Option<usize>, &[usize]) = match self {
            Self::Air(_) => (None, None, &[]),
            Self::Cut { one, other, .. } => (Some(*one), Some(*other), &[]),
            Self::CutWay { from, to, .. } => (Some(*from), Some(*to), &[]),
            Self::Part { group, .. } => (None, None, group),
            Self::Bytes { device, from, .. } => (Some(*device), Some(*from), &[]),
            Self::PowerCut { device, .. }
            | Self::Dead { device }
            | Self::SlowDisk { device, .. }
            | Self::FailingWrites { device, .. }
            | Self::FullDisk { device, .. }
            | Self::OldImage { device, .. }
            | Self::Drift { device, .. }
            | Self::WallStep { device, .. }
            | Self::Suspend { device, .. }
            | Self::Stall { device, .. }
            | Self::PageFrozen { device, .. }
            | Self::PageCut { device, .. }
            | Self::PageClosed { device, .. }
            | Self::StrangerStop { device, .. }
            | Self::Hostile { device }
            | Self::Person { device, .. } => (Some(*device), None, &[]),
        };
        first.into_iter().chain(second).chain(group.iter().copied())
    }
}
