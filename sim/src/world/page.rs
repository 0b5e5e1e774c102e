//! Page: what a person looks at and touches, between finger and node.
//! Owns: what one page shows and until when, and presses that it keeps.   Gives: signs of life, presses, its word.
//! May use: the engine's call.   Never: shows Proceed longer than the node said, or than the page limit.

use super::World;
use super::queue::Happens;
use gantline_protocol::bounds::PAGE_LIMIT_MS;
use gantline_protocol::engine::{Command, Input};
use gantline_protocol::state::CallWord;

/// A page tells its node that it lives, and reads the call, so often, ms.
const PAGE_MS: u64 = 330;

/// How a page is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default)]
pub enum PageState {
    /// There is none; presses go to the node, as from a script.
    #[default]
    None,
    /// It works.
    Alive,
    /// It works, and nothing passes between it and its node.
    Cut,
    /// It does not take presses nor show anything new.
    Frozen,
    /// It was closed in good order.
    Closed,
}

/// One device's page.
#[derive(Clone, Debug, Default)]
pub struct Page {
    state: PageState,
    shown: Option<CallWord>,
    good_until: u64,
    /// Stops pressed that the node has not taken yet (RESEND).
    kept: Vec<Command>,
    ticking: bool,
    /// Since when nothing of it reaches its node, which had heard it, true time, ms.
    silent_since: Option<u64>,
}

impl Page {
    /// How it is.
    #[must_use]
    pub fn state(&self) -> PageState {
        self.state
    }

    /// The word that it shows at true time `now`; `None`: nobody can read it, or it never heard one.
    #[must_use]
    pub fn word(&self, now: u64) -> Option<CallWord> {
        if !matches!(self.state, PageState::Alive | PageState::Cut) {
            return None;
        }
        self.shown.map(|word| {
            if word == CallWord::Proceed && now > self.good_until {
                CallWord::Hold
            } else {
                word
            }
        })
    }

    /// Since when its node hears nothing of it, true time, ms; `None`: it does, or never did since its start.
    pub(super) fn silent_since(&self) -> Option<u64> {
        self.silent_since
    }

    /// It hangs, or is cut off.
    fn falls_silent(&mut self, state: PageState, now: u64) {
        // Its node has heard it if it has heard its node.
        if self.state == PageState::Alive && self.shown.is_some() {
            self.silent_since = Some(now);
        }
        self.state = state;
    }

    /// The machine lost its power.
    pub(super) fn die(&mut self) {
        self.silent_since = None;
        self.kept.clear();
        self.shown = None;
        self.ticking = false;
    }
}

impl World {
    /// A device gets a page, or a frozen, cut or closed one works again.
    pub fn open_page(&mut self, device: usize) {
        let page = &mut self.devices[device].page;
        page.state = PageState::Alive;
        page.silent_since = None;
        self.page_again(device);
    }

    /// The page is closed in good order.
    pub fn close_page(&mut self, device: usize) {
        let page = &mut self.devices[device].page;
        page.state = PageState::Closed;
        page.silent_since = None;
        page.kept.clear();
        self.input(device, Input::PageClosed);
    }

    /// The page hangs.
    pub fn freeze_page(&mut self, device: usize) {
        let now = self.now;
        self.devices[device]
            .page
            .falls_silent(PageState::Frozen, now);
    }

    /// Nothing passes between page and node.
    pub fn cut_page(&mut self, device: usize) {
        let now = self.now;
        self.devices[device].page.falls_silent(PageState::Cut, now);
    }

    pub(super) fn page_again(&mut self, device: usize) {
        let own = &mut self.devices[device];
        if own.engine.is_some() && own.page.state != PageState::None && !own.page.ticking {
            own.page.ticking = true;
            self.push_of(device, 1, Happens::Page);
        }
    }

    pub(super) fn page_due(&mut self, device: usize) {
        self.push_of(device, PAGE_MS, Happens::Page);
        if self.devices[device].page.state != PageState::Alive
            || self.now < self.devices[device].stalled_until
        {
            return;
        }
        for stop in core::mem::take(&mut self.devices[device].page.kept) {
            self.do_now(device, stop);
        }
        self.input(device, Input::PageAlive);
        self.page_reads(device);
    }

    fn page_reads(&mut self, device: usize) {
        let now = self.now;
        let Some(engine) = &self.devices[device].engine else {
            return;
        };
        let call = engine.call(self.clock(device));
        let good_until = now + call.good_for_ms.min(PAGE_LIMIT_MS);
        if call.word == CallWord::Proceed {
            self.page_proceeds(device, good_until);
        }
        let page = &mut self.devices[device].page;
        page.shown = Some(call.word);
        page.good_until = good_until;
    }

    /// A finger presses on a device's page, now; whether the page took it. A stop that cannot reach the node is
    /// kept and repeated, anything else is not.
    pub fn press(&mut self, device: usize, command: Command) -> bool {
        let running = self.answers(device);
        match self.devices[device].page.state {
            PageState::Frozen | PageState::Closed => false,
            _ if self.now < self.devices[device].asleep_until => false,
            PageState::None if running => {
                self.do_now(device, command);
                true
            }
            PageState::Alive if running => {
                self.do_now(device, command);
                self.page_reads(device);
                true
            }
            PageState::Alive | PageState::Cut if self.devices[device].is_on() => {
                let keeps = matches!(command, Command::Stop { .. });
                if keeps {
                    self.devices[device].page.kept.push(command);
                }
                keeps
            }
            _ => false,
        }
    }
}
