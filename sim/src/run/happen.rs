//! Happen: faults and wild acts into the world, and the end of each.
//! Owns: nothing.   Gives: what one event of a script does at its moment; healing.
//! May use: world, people.   Never: judges.

use super::{HEALED_THINK_MS, Run};
use crate::people::{Sight, Wild};
use crate::radio::Air;
use crate::script::What;
use crate::world::PageState;
use gantline_protocol::engine::Input;
use gantline_protocol::ids::DeviceKey;

/// Something to do at a moment.
#[derive(Clone, Debug)]
pub(super) enum Todo {
    /// An event of the script.
    Do(What),
    /// Two devices hear each other again.
    Heal(usize, usize),
    /// Power is back.
    On(usize),
    /// The disk is well.
    DiskWell(usize),
    /// The page works.
    PageWell(usize),
    /// The person answers again.
    Answers(usize),
}

/// How long somebody is silent, ms.
const SILENT_MS: u64 = 60_000;

impl Run<'_> {
    fn later(&mut self, in_ms: u64, todo: Todo) {
        let at = self.world.now + in_ms;
        let number = self.script.events.len() + self.todo.len();
        let free = (number..)
            .find(|number| !self.todo.contains_key(&(at, *number)))
            .unwrap_or(number);
        self.todo.insert((at, free), todo);
    }

    pub(super) fn carry_out(&mut self, todo: Todo) {
        match todo {
            Todo::Do(what) => self.happen(&what),
            Todo::Heal(one, other) => self.world.radio.heal(one, other),
            Todo::On(device) => {
                if !self.world.devices[device].is_on() && !self.dead.contains(&device) {
                    self.world.power_on(device);
                }
            }
            Todo::DiskWell(device) => {
                let disk = &mut self.world.devices[device].disk;
                disk.full = false;
                disk.slow_ms = 0;
            }
            Todo::PageWell(device) => {
                if self.script.pages {
                    self.world.open_page(device);
                }
            }
            Todo::Answers(device) => {
                if !self.silent.contains(&device) {
                    self.world.devices[device].willing = true;
                }
            }
        }
    }

    fn happen(&mut self, what: &What) {
        self.world.say(|| format!("happens: {what:?}"));
        let took = self.took_effect(what);
        self.counts.add(what.name(), u64::from(took));
    }

    /// Lets it happen; whether there was anything for it to happen to.
    fn took_effect(&mut self, what: &What) -> bool {
        match *what {
            What::Air(weather) => {
                self.world.radio.air = weather.air();
                true
            }
            What::Cut { one, other, for_ms } => {
                self.world.radio.cut(one, other);
                self.later(for_ms, Todo::Heal(one, other));
                one != other
            }
            What::CutWay { from, to, for_ms } => {
                self.world.radio.cut_way(from, to);
                self.later(for_ms, Todo::Heal(from, to));
                from != to
            }
            What::Part { ref group, for_ms } => {
                self.world.part(group);
                let all = self.world.devices.len();
                for &one in group {
                    for other in (0..all).filter(|other| !group.contains(other)) {
                        self.later(for_ms, Todo::Heal(one, other));
                    }
                }
                !group.is_empty() && group.len() < self.script.devices
            }
            What::Dead { device } => {
                self.dead.insert(device);
                let was_on = self.world.devices[device].is_on();
                self.world.power_off(device);
                was_on
            }
            ref what => {
                let named = what.devices().next();
                let on = named.is_some_and(|device| self.world.devices[device].is_on());
                on && self.strikes(what)
            }
        }
    }

    /// What happens to one device that is on.
    fn strikes(&mut self, what: &What) -> bool {
        let world = &mut self.world;
        match *what {
            What::PowerCut {
                device,
                for_ms,
                torn,
                reboot,
            } => {
                let writing = world.devices[device].disk.is_writing();
                world.power_off_torn(device, torn);
                if reboot {
                    world.reboot_clock(device);
                }
                self.later(for_ms, Todo::On(device));
                self.counts
                    .add("power_lost_while_writing", u64::from(writing));
                true
            }
            What::SlowDisk {
                device,
                by_ms,
                for_ms,
            } => {
                world.devices[device].disk.slow_ms = by_ms;
                self.later(for_ms, Todo::DiskWell(device));
                true
            }
            What::FailingWrites { device, count } => {
                world.devices[device].disk.failing = count;
                true
            }
            What::FullDisk { device, for_ms } => {
                world.devices[device].disk.full = true;
                self.later(for_ms, Todo::DiskWell(device));
                true
            }
            What::OldImage {
                device,
                back,
                noticed,
            } => {
                let image = world.devices[device].disk.image_before(back);
                world.restore(device, &image, noticed);
                true
            }
            What::Drift { device, ppm } => {
                world.drift(device, ppm);
                ppm != 0
            }
            What::WallStep { device, ms } => {
                world.step_wall(device, ms);
                ms != 0
            }
            What::Suspend { device, for_ms } => {
                world.suspend(device, for_ms);
                true
            }
            What::Stall { device, for_ms } => {
                world.stall(device, for_ms);
                true
            }
            What::PageFrozen { device, for_ms }
            | What::PageCut { device, for_ms }
            | What::PageClosed { device, for_ms } => {
                if world.devices[device].page.state() == PageState::None {
                    return false;
                }
                match what {
                    What::PageFrozen { .. } => world.freeze_page(device),
                    What::PageCut { .. } => world.cut_page(device),
                    _ => world.close_page(device),
                }
                self.later(for_ms, Todo::PageWell(device));
                true
            }
            What::StrangerStop { device, stranger } => {
                let key = DeviceKey([stranger; 32]);
                let words = "the pole is leaning".to_owned();
                world.tell(device, Input::StrangerStop { key, words });
                true
            }
            What::Bytes {
                device,
                from,
                count,
            } => {
                world.noise(device, from, count);
                true
            }
            What::Hostile { device } => world.turn_hostile(device),
            What::Person { device, wild } => self.wild(device, wild),
            // The rest is not about one device.
            _ => false,
        }
    }

    fn wild(&mut self, device: usize, wild: Wild) -> bool {
        if wild == Wild::Silent || wild == Wild::NeverAnswers {
            self.world.devices[device].willing = false;
            if wild == Wild::Silent {
                self.later(SILENT_MS, Todo::Answers(device));
            } else {
                self.silent.insert(device);
            }
            return true;
        }
        let world = &mut self.world;
        let mut rng = world.chance();
        let Some(engine) = world.engine(device) else {
            return false;
        };
        let status = engine.status(world.clock(device));
        let last = world.outcomes.iter().rev().find(|(by, _, _)| *by == device);
        let sight = Sight {
            status: &status,
            job: engine.job(),
            last: last.map(|(_, command, _)| command),
        };
        let presses = sight.presses(wild, &mut rng);
        let any = !presses.is_empty();
        for command in presses {
            world.press(device, command);
        }
        any
    }

    /// Everything that can be healed is healed; what is dead stays dead, and who is hostile stays so.
    pub(super) fn heal(&mut self) {
        self.todo.clear();
        self.silent.clear();
        self.world.radio.air = Air::CLEAR;
        self.world.radio.heal_all();
        self.world.set_think(HEALED_THINK_MS);
        for device in 0..self.world.devices.len() {
            let own = &mut self.world.devices[device];
            own.willing = true;
            own.disk.full = false;
            own.disk.failing = 0;
            own.disk.slow_ms = 0;
            self.world.drift(device, 0);
            self.world.wake_up(device);
            let belongs = !self.world.devices[device].disk.is_empty();
            if belongs && !self.dead.contains(&device) {
                if !self.world.devices[device].is_on() {
                    self.world.power_on(device);
                }
                if self.script.pages {
                    self.world.open_page(device);
                }
            }
        }
    }
}
