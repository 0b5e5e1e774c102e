//! People: what nobody asked for and somebody does all the same.
//! Owns: nothing.   Gives: `Wild`, each kind of it, and the presses that it is at a moment.
//! May use: the device's status, the plan, rng.   Never: what becomes of it (the engines); what was asked (crew).

use crate::crew::good_value;
use crate::rng::Rng;
use gantline_protocol::decimal::Decimal;
use gantline_protocol::engine::Command;
use gantline_protocol::gate::Job;
use gantline_protocol::ids::{CheckId, DeviceKey, EntryHash, RoleId, StepId};
use gantline_protocol::log::entry::{Body, Change, Finding, NoteKind, OrderState, Said, StopKind};
use gantline_protocol::plan::{Check, ConditionKind, Expects, Place, Plan, Step, Who};
use gantline_protocol::state::{AskedOf, Status, StepState};
use serde::{Deserialize, Serialize};

macro_rules! wild {
    ($($(#[$doc:meta])* $variant:ident = $name:literal,)*) => {
        /// Something that a person does unasked.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Wild {
            $($(#[$doc])* $variant,)*
        }

        impl Wild {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Its name, for counting.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self {
                    $(Self::$variant => $name,)*
                }
            }
        }
    };
}

wild! {
    /// Stop work.
    Stop = "stop",
    /// All stop, for a moving load.
    AllStop = "all_stop",
    /// Emergency.
    Emergency = "emergency",
    /// The operator says that the order lapsed.
    OrderLapsed = "order_lapsed",
    /// The last press again, at once.
    Twice = "twice",
    /// Confirms a step that is not open.
    Early = "early",
    /// Confirms what is another role's.
    WrongRole = "wrong_role",
    /// A value beyond its limit.
    OutOfLimit = "out_of_limit",
    /// A value in another unit, or an answer of another form.
    WrongUnit = "wrong_unit",
    /// Another structure's number.
    WrongIdentity = "wrong_identity",
    /// Another answer than the one that passes, or than was given before; asked what was done since, the one that
    /// passes and nothing of what was done.
    Disagree = "disagree",
    /// A critical press not held.
    ShortPress = "short_press",
    /// Cannot confirm.
    Cannot = "cannot",
    /// Cannot confirm what is complete.
    Object = "object",
    /// Takes a confirmation back.
    Withdraw = "withdraw",
    /// No to an ask.
    Decline = "decline",
    /// Agrees although nothing is asked.
    AgreeToNothing = "agree_to_nothing",
    /// Answers nothing for a minute.
    Silent = "silent",
    /// Answers nothing to the end of the act.
    NeverAnswers = "never_answers",
    /// The observer leaves the place.
    Away = "away",
    /// A reading beyond its limit.
    ReadingOut = "reading_out",
    /// Rain or lightning.
    Sighting = "sighting",
    /// Leaves the job.
    Leave = "leave",
    /// Wants to be relieved.
    ReliefWanted = "relief_wanted",
    /// Offers a role on.
    OfferRole = "offer_role",
    /// Offers the office of supervisor.
    OfferOffice = "offer_office",
    /// Takes a role that was not offered.
    TakeUnoffered = "take_unoffered",
    /// Back to a step.
    StepBack = "step_back",
    /// Changes the plan's words.
    Amend = "amend",
    /// Changes a limit.
    AmendLimit = "amend_limit",
    /// Ends the day.
    Suspend = "suspend",
    /// A new day.
    ResumeDay = "resume_day",
    /// Out of it by the plan's own steps.
    ExitPlan = "exit_plan",
    /// The tool did not see it.
    Exception = "exception",
    /// Corrects an own entry.
    Correction = "correction",
    /// Something was done earlier.
    LateNote = "late_note",
    /// Something was secured.
    MakeSafe = "make_safe",
    /// Counts heads.
    HeadCount = "head_count",
    /// Moves an item by hand.
    MoveItem = "move_item",
    /// Finds an item bad, then good.
    ScanBad = "scan_bad",
    /// Offers a load.
    OfferLoad = "offer_load",
    /// Takes what is or is not offered.
    TakeLoad = "take_load",
    /// No longer ready.
    NotReady = "not_ready",
    /// The load stands.
    DoneLoad = "done_load",
    /// Admits somebody once more, with a role that does not go with theirs.
    AdmitAgain = "admit_again",
    /// Admits a key of no worth.
    AdmitWeak = "admit_weak",
    /// Proposes to remove one who is there.
    Remove = "remove",
    /// Closes before all is done.
    CloseEarly = "close_early",
    /// Voids an entry that is none of the kind.
    VoidNothing = "void_nothing",
    /// Mutes a stranger.
    Mute = "mute",
    /// A text of a thousand characters.
    LongText = "long_text",
    /// Hears the briefing again.
    BriefedAgain = "briefed_again",
    /// A hundred presses at once.
    Flurry = "flurry",
}

/// What a person has before them.
#[derive(Debug)]
pub struct Sight<'a> {
    /// Their screen.
    pub status: &'a Status,
    /// Their device's job.
    pub job: &'a Job,
    /// What they pressed last.
    pub last: Option<&'a Command>,
}

fn pick<'a, T>(rng: &mut Rng, from: &'a [T]) -> Option<&'a T> {
    if from.is_empty() {
        return None;
    }
    let at = rng.between(0, from.len() as u64 - 1);
    from.get(usize::try_from(at).unwrap_or(0))
}

fn stop(kind: StopKind, why: &str) -> Command {
    Command::Stop {
        kind,
        why: why.to_owned(),
        item: None,
    }
}

impl Sight<'_> {
    fn plan(&self) -> &Plan {
        self.job.plan()
    }

    fn state(&self, step: &StepId) -> StepState {
        self.job.step_state(step)
    }

    /// A check in a step of this state that fits.
    fn a_check(
        &self,
        rng: &mut Rng,
        state: impl Fn(StepState) -> bool,
        fits: impl Fn(&Step, &Check) -> bool,
    ) -> Option<(&Step, &Check)> {
        let all: Vec<(&Step, &Check)> = self
            .plan()
            .steps
            .iter()
            .filter(|step| state(self.state(&step.id)))
            .flat_map(|step| step.checks.iter().map(move |check| (step, check)))
            .filter(|(step, check)| fits(step, check))
            .collect();
        pick(rng, &all).copied()
    }

    fn mine(&self, check: &Check) -> bool {
        check.who == Who::Each(None) || self.status.roles.iter().any(|role| check.who.may(role))
    }

    fn confirm(&self, step: &Step, check: &Check, said: Said, change: bool) -> Command {
        Command::Acknowledge {
            step: step.id.clone(),
            check: check.id.clone(),
            said,
            change: change.then(|| "done anew".to_owned()),
            held_ms: step.critical.then_some(self.plan().times.press_ms),
        }
    }

    /// The answer that passes, where what was done since is asked with it.
    fn says_nothing_of_what_was_done(&self) -> Option<Command> {
        self.status.asked.iter().find_map(|asked| {
            let AskedOf::Check {
                step,
                check,
                since: true,
                ..
            } = asked
            else {
                return None;
            };
            let step = self.plan().step(step)?;
            let check = step.check(check)?;
            Some(self.confirm(step, check, self.good(check), false))
        })
    }

    /// The answer that passes.
    fn good(&self, check: &Check) -> Said {
        let line = &self.plan().line;
        match &check.expects {
            Expects::Yes | Expects::Heads | Expects::OrderIs { .. } => Said::Yes,
            Expects::Measured { limit } => match self.plan().limit(limit) {
                Some(limit) => Said::Value {
                    value: good_value(limit),
                    unit: limit.unit.clone(),
                },
                None => Said::Yes,
            },
            Expects::OneOf { passes, .. } => Said::Words(passes.clone()),
            Expects::Identity => Said::Identity {
                structure: line.structure.clone(),
                circuit: line.circuit.clone(),
                phase: line.phase.clone(),
            },
            Expects::Words => Said::Words("17".to_owned()),
            Expects::Tally { .. } => Said::Tally { out: 9, back: 9 },
        }
    }

    /// An answer that does not pass.
    fn bad(&self, check: &Check) -> Option<Said> {
        match &check.expects {
            Expects::Yes | Expects::Heads | Expects::OrderIs { .. } => None,
            Expects::Measured { limit } => {
                let limit = self.plan().limit(limit)?;
                let beyond = Decimal::whole(1_000_000);
                let below = Decimal::whole(-1_000_000);
                Some(Said::Value {
                    value: if limit.most.is_some() { beyond } else { below },
                    unit: limit.unit.clone(),
                })
            }
            Expects::OneOf { answers, passes } => answers
                .iter()
                .find(|answer| *answer != passes)
                .map(|answer| Said::Words(answer.clone())),
            Expects::Identity => Some(Said::Identity {
                structure: "99".to_owned(),
                circuit: self.plan().line.circuit.clone(),
                phase: self.plan().line.phase.clone(),
            }),
            Expects::Words => Some(Said::Words("71".to_owned())),
            Expects::Tally { .. } => Some(Said::Tally { out: 9, back: 8 }),
        }
    }

    fn a_device(&self, rng: &mut Rng) -> Option<DeviceKey> {
        let crew: Vec<DeviceKey> = self
            .status
            .crew
            .iter()
            .filter(|member| member.present && member.device != self.status.device)
            .map(|member| member.device)
            .collect();
        pick(rng, &crew).copied()
    }

    fn a_role(&self, rng: &mut Rng, office: bool) -> Option<RoleId> {
        let roles: Vec<RoleId> = self
            .plan()
            .roles
            .iter()
            .map(|role| role.id.clone())
            .filter(|role| role.is_supervisor() == office)
            .collect();
        pick(rng, &roles).cloned()
    }

    fn own_check(&self, rng: &mut Rng) -> Option<(StepId, CheckId)> {
        let graph = self.job.graph();
        let own: Vec<(StepId, CheckId)> = graph
            .iter()
            .filter(|&ix| graph.author(ix) == self.status.device)
            .filter_map(|ix| match graph.body(ix) {
                Body::Acknowledge(ack) => Some((ack.step.clone(), ack.check.clone())),
                _ => None,
            })
            .collect();
        pick(rng, &own).cloned()
    }

    fn own_entry(&self, rng: &mut Rng) -> Option<EntryHash> {
        let graph = self.job.graph();
        let own: Vec<EntryHash> = graph
            .iter()
            .filter(|&ix| graph.author(ix) == self.status.device)
            .map(|ix| graph.hash(ix))
            .collect();
        pick(rng, &own).copied()
    }

    fn condition(
        &self,
        rng: &mut Rng,
        fits: impl Fn(&ConditionKind) -> bool,
    ) -> Option<gantline_protocol::plan::Condition> {
        let fitting: Vec<_> = self
            .plan()
            .conditions
            .iter()
            .filter(|condition| fits(&condition.kind))
            .cloned()
            .collect();
        pick(rng, &fitting).cloned()
    }

    /// The presses of a kind at this moment, in order; empty: there is nothing to press.
    #[must_use]
    pub fn presses(&self, wild: Wild, rng: &mut Rng) -> Vec<Command> {
        self.about_stops(wild, rng)
            .or_else(|| self.about_checks(wild, rng))
            .or_else(|| self.about_crew(wild, rng))
            .or_else(|| self.about_work(wild, rng))
            .unwrap_or_default()
    }

    fn about_stops(&self, wild: Wild, rng: &mut Rng) -> Option<Vec<Command>> {
        let one = |command| Some(vec![command]);
        match wild {
            Wild::Stop => one(stop(
                StopKind::Work,
                pick(rng, &["wind", "slip", ""]).copied().unwrap_or(""),
            )),
            Wild::AllStop => one(stop(StopKind::AllStop, "load swings")),
            Wild::Emergency => one(stop(StopKind::Emergency, "man down")),
            Wild::OrderLapsed => one(Command::OrderStatus {
                order: "17".to_owned(),
                state: if rng.percent(50) {
                    OrderState::Lapsed
                } else {
                    OrderState::ReleasedByOthers {
                        by: "the other crew".to_owned(),
                    }
                },
                terminals: Vec::new(),
                read_back: false,
                covers: Vec::new(),
                line_state: None,
            }),
            Wild::Twice => self
                .last
                .map(|last| vec![last.clone(), last.clone()])
                .or(Some(Vec::new())),
            Wild::Decline => one(Command::Decline {
                to: None,
                why: "not yet".to_owned(),
            }),
            Wild::AgreeToNothing => one(Command::Agree { to: None }),
            Wild::ExitPlan => {
                let steps: Vec<StepId> = self
                    .plan()
                    .steps
                    .iter()
                    .filter(|step| self.state(&step.id) != StepState::Done)
                    .take(2)
                    .map(|step| step.id.clone())
                    .collect();
                one(Command::ExitPlan {
                    stops: Vec::new(),
                    steps,
                    without: Vec::new(),
                    why: "safer further on".to_owned(),
                })
            }
            Wild::MakeSafe => one(Command::MakeSafe {
                step: None,
                text: "tied off".to_owned(),
            }),
            Wild::HeadCount => one(Command::HeadCount {
                clear: self
                    .status
                    .crew
                    .iter()
                    .map(|member| member.person.clone())
                    .filter(|_| rng.percent(80))
                    .collect(),
                assumed: Vec::new(),
            }),
            Wild::Suspend => {
                let persons: Vec<_> = self.status.crew.iter().map(|m| m.person.clone()).collect();
                let resume_by = pick(rng, &persons).cloned()?;
                let heads = Command::HeadCount {
                    clear: persons.clone(),
                    assumed: Vec::new(),
                };
                one(Command::Suspend {
                    state: "as it stands".to_owned(),
                    resume_by,
                    tools_out: 9,
                    tools_back: if rng.percent(80) { 9 } else { 8 },
                })
                .map(|mut commands| {
                    commands.insert(0, heads);
                    commands
                })
            }
            Wild::ResumeDay => one(Command::ResumeDay),
            Wild::CloseEarly => one(Command::Close),
            Wild::Mute => one(Command::Note {
                text: "a child with a telephone".to_owned(),
                about: None,
                kind: NoteKind::Mute {
                    key: DeviceKey([7; 32]),
                },
            }),
            _ => None,
        }
    }

    fn about_checks(&self, wild: Wild, rng: &mut Rng) -> Option<Vec<Command>> {
        let open = |state| matches!(state, StepState::Open | StepState::Conflict);
        let commands = match wild {
            Wild::Early => self
                .a_check(rng, |s| s == StepState::Locked, |_, c| self.mine(c))
                .map(|(step, check)| self.confirm(step, check, self.good(check), false)),
            Wild::WrongRole => self
                .a_check(rng, open, |_, check| !self.mine(check))
                .map(|(step, check)| self.confirm(step, check, self.good(check), false)),
            Wild::OutOfLimit => self
                .a_check(
                    rng,
                    |_| true,
                    |_, check| {
                        self.mine(check) && matches!(check.expects, Expects::Measured { .. })
                    },
                )
                .and_then(|(step, check)| {
                    let change = rng.percent(50);
                    Some(self.confirm(step, check, self.bad(check)?, change))
                }),
            Wild::WrongUnit => self
                .a_check(rng, |_| true, |_, check| self.mine(check))
                .map(|(step, check)| {
                    let said = if rng.percent(50) {
                        Said::Value {
                            value: Decimal::whole(3),
                            unit: "furlong".to_owned(),
                        }
                    } else {
                        Said::Words(String::new())
                    };
                    self.confirm(step, check, said, false)
                }),
            Wild::WrongIdentity => self
                .a_check(
                    rng,
                    |_| true,
                    |_, check| self.mine(check) && check.expects == Expects::Identity,
                )
                .and_then(|(step, check)| Some(self.confirm(step, check, self.bad(check)?, false))),
            Wild::Disagree => self.says_nothing_of_what_was_done().or_else(|| {
                self.a_check(
                    rng,
                    |s| s != StepState::Locked,
                    |_, check| self.mine(check) && self.bad(check).is_some(),
                )
                .and_then(|(step, check)| Some(self.confirm(step, check, self.bad(check)?, false)))
            }),
            Wild::ShortPress => self
                .a_check(
                    rng,
                    |_| true,
                    |step, check| step.critical && self.mine(check),
                )
                .map(|(step, check)| Command::Acknowledge {
                    step: step.id.clone(),
                    check: check.id.clone(),
                    said: self.good(check),
                    change: None,
                    held_ms: Some(100),
                }),
            Wild::Cannot => {
                self.a_check(rng, open, |_, check| self.mine(check))
                    .map(|(step, check)| Command::Cannot {
                        step: step.id.clone(),
                        check: check.id.clone(),
                        why: "sun in my eyes".to_owned(),
                    })
            }
            Wild::Object => self
                .a_check(rng, |s| s == StepState::Done, |_, _| true)
                .map(|(step, check)| Command::Cannot {
                    step: step.id.clone(),
                    check: check.id.clone(),
                    why: "not so any more".to_owned(),
                }),
            Wild::Withdraw => {
                let own = self.own_check(rng);
                let any = self.a_check(rng, |_| true, |_, _| true);
                own.or_else(|| any.map(|(step, check)| (step.id.clone(), check.id.clone())))
                    .map(|(step, check)| Command::Withdraw {
                        step,
                        check,
                        why: "it moved".to_owned(),
                    })
            }
            Wild::Exception => self
                .a_check(rng, |s| s != StepState::Done, |_, _| true)
                .map(|(step, check)| Command::Exception {
                    step: step.id.clone(),
                    check: check.id.clone(),
                    what: "done by hand signal".to_owned(),
                    why: "the page was wet".to_owned(),
                    seen_by: self
                        .status
                        .crew
                        .first()
                        .map(|member| member.person.clone())
                        .unwrap_or_else(|| self.job.founding().person.clone()),
                }),
            Wild::LateNote => self
                .a_check(rng, |_| true, |_, _| true)
                .map(|(step, check)| Command::Note {
                    text: "done an hour ago".to_owned(),
                    about: None,
                    kind: NoteKind::Late {
                        step: step.id.clone(),
                        check: check.id.clone(),
                        mark: step.sets.first().map(|mark| mark.mark.clone()),
                    },
                }),
            Wild::StepBack => {
                let steps: Vec<StepId> = self
                    .plan()
                    .steps
                    .iter()
                    .map(|step| step.id.clone())
                    .collect();
                pick(rng, &steps).map(|step| Command::StepBack {
                    step: step.clone(),
                    why: "look again".to_owned(),
                })
            }
            Wild::Flurry => {
                return Some(
                    (0..100)
                        .map(|n| Command::Note {
                            text: format!("flurry {n}"),
                            about: None,
                            kind: NoteKind::Plain,
                        })
                        .collect(),
                );
            }
            _ => return None,
        };
        Some(commands.into_iter().collect())
    }

    fn about_crew(&self, wild: Wild, rng: &mut Rng) -> Option<Vec<Command>> {
        let command = match wild {
            Wild::Leave => Some(Command::Leave),
            Wild::ReliefWanted => self
                .status
                .roles
                .first()
                .map(|role| Command::ReliefWanted { role: role.clone() }),
            Wild::OfferRole | Wild::OfferOffice => {
                let role = self.a_role(rng, wild == Wild::OfferOffice);
                role.zip(self.a_device(rng))
                    .map(|(role, to)| Command::OfferRole { role, to })
            }
            Wild::TakeUnoffered => {
                let office = rng.percent(30);
                self.a_role(rng, office)
                    .map(|role| Command::TakeRole { role })
            }
            Wild::AdmitAgain => self.a_device(rng).and_then(|device| {
                let person = &self
                    .status
                    .crew
                    .iter()
                    .find(|member| member.device == device)?
                    .person;
                Some(Command::Admit {
                    device,
                    person: person.clone(),
                    roles: self.a_role(rng, false).into_iter().collect(),
                    replaces: None,
                })
            }),
            Wild::AdmitWeak => Some(Command::Admit {
                device: DeviceKey([0; 32]),
                person: self.job.founding().person.clone(),
                roles: Vec::new(),
                replaces: None,
            }),
            Wild::Remove => self.a_device(rng).map(|device| Command::Remove {
                device,
                spoken_to: Some(true),
                called_stop: rng.percent(30),
            }),
            Wild::BriefedAgain => Some(Command::Briefed),
            Wild::Amend => {
                let steps = &self.plan().steps;
                pick(rng, steps).map(|step| {
                    let mut changed = step.clone();
                    changed.text.push('.');
                    Command::Amend {
                        why: "clearer words".to_owned(),
                        changes: vec![Change::Step(Box::new(changed))],
                        covers: Vec::new(),
                    }
                })
            }
            Wild::AmendLimit => pick(rng, &self.plan().limits).map(|limit| {
                let mut changed = limit.clone();
                changed.title.push('.');
                Command::Amend {
                    why: "another table".to_owned(),
                    changes: vec![Change::Limit(changed)],
                    covers: Vec::new(),
                }
            }),
            _ => return None,
        };
        Some(command.into_iter().collect())
    }

    fn about_work(&self, wild: Wild, rng: &mut Rng) -> Option<Vec<Command>> {
        let places = [
            Place::Truck,
            Place::Ground,
            Place::OnTheLine,
            Place::Aloft,
            Place::Structure,
            Place::Conductor,
        ];
        let command = match wild {
            Wild::Away => self
                .condition(rng, |kind| *kind == ConditionKind::Presence)
                .map(|condition| Command::Away {
                    condition: condition.id,
                }),
            Wild::ReadingOut => self
                .condition(rng, |kind| matches!(kind, ConditionKind::Measured { .. }))
                .and_then(|condition| {
                    let ConditionKind::Measured { limit } = &condition.kind else {
                        return None;
                    };
                    let limit = self.plan().limit(limit)?;
                    let far = if limit.most.is_some() { 1_000 } else { -1_000 };
                    Some(Command::Reading {
                        condition: condition.id,
                        value: Some(Decimal::whole(far)),
                        unit: limit.unit.clone(),
                    })
                }),
            Wild::Sighting => self
                .condition(rng, |kind| *kind == ConditionKind::NoneSeen)
                .map(|condition| Command::Reading {
                    condition: condition.id,
                    value: None,
                    unit: String::new(),
                }),
            Wild::Correction => self.own_entry(rng).map(|entry| Command::Correction {
                entry,
                text: "eleven, not seven".to_owned(),
            }),
            Wild::VoidNothing => self.own_entry(rng).map(|entry| Command::Void { entry }),
            Wild::MoveItem => {
                let to = *pick(rng, &places)?;
                pick(rng, &self.plan().items).map(|item| Command::Moved {
                    item: item.id.clone(),
                    to,
                })
            }
            Wild::ScanBad => {
                return Some(pick(rng, &self.plan().items).map_or_else(Vec::new, |item| {
                    let scan = |good| Command::Scan {
                        item: item.id.clone(),
                        found: Finding::Inspected { good },
                    };
                    vec![scan(false), scan(true)]
                }));
            }
            Wild::OfferLoad => {
                let to = *pick(rng, &places)?;
                pick(rng, &self.plan().items).and_then(|item| {
                    Some(Command::Offer {
                        handoff: format!("W-{}", item.id).parse().ok()?,
                        item: item.id.clone(),
                        to,
                        receiver: self.a_device(rng).filter(|_| rng.percent(50)),
                    })
                })
            }
            Wild::TakeLoad => Some(Command::Take { handoff: None }),
            Wild::NotReady => Some(Command::Ready {
                handoff: None,
                ready: rng.percent(50),
            }),
            Wild::DoneLoad => Some(Command::Done { handoff: None }),
            Wild::LongText => Some(Command::MakeSafe {
                step: None,
                text: "x".repeat(1_000),
            }),
            _ => return None,
        };
        Some(command.into_iter().collect())
    }
}
