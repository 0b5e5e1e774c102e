//! Acts: every kind of event that a case can hold.
//! Owns: nothing.   Gives: `Event`, `Act`.
//! May use: decimals.   Never: what a device makes of it (play).

use gantline_protocol::decimal::Decimal;

/// Something that happens.
#[derive(Clone, Debug)]
pub struct Event {
    /// Its id.
    pub id: String,
    /// The line of the file.
    pub line: usize,
    /// When, ms after the beginning.
    pub at_ms: u64,
    /// Who; `?`: nobody on the job; `-`: the world.
    pub who: String,
    /// On which device; `-`: none.
    pub device: String,
    /// What.
    pub act: Act,
}

/// A bound of a measured value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Bound {
    /// At least.
    Least(Decimal),
    /// Between.
    Range(Decimal, Decimal),
}

/// Every kind of event.
#[derive(Clone, PartialEq, Eq, Debug)]
#[allow(
    missing_docs,
    reason = "the fields are the keys of the form, each documented with its kind"
)]
pub enum Act {
    Confirm {
        step: String,
        check: String,
        tally: Option<(u32, u32)>,
        relook: bool,
        reason: Option<String>,
    },
    Decline {
        step: String,
        check: String,
        reason: String,
    },
    Measure {
        step: String,
        check: String,
        value: Decimal,
        unit: String,
        limit: Option<Bound>,
        reason: Option<String>,
    },
    Condition {
        condition: String,
        value: Option<Decimal>,
        /// `none` of what must not be seen; anything else in words is a sighting.
        none: bool,
        unit: String,
    },
    Affirm {
        condition: String,
    },
    Away {
        condition: String,
    },
    Stop {
        reason: String,
        tool: Option<String>,
    },
    Heard {
        stop: String,
    },
    ResumeAsk {
        stop: String,
        cause: String,
        open_item: Option<String>,
        closes_item: Option<String>,
    },
    ResumeAgree {
        stop: String,
    },
    ResumeDecline {
        stop: String,
        reason: String,
    },
    Offer {
        handoff: String,
        load: Option<String>,
        tool: Option<String>,
        up: bool,
    },
    Ready {
        handoff: String,
    },
    NotReady {
        handoff: String,
        reason: String,
    },
    Take {
        handoff: String,
    },
    Done {
        handoff: String,
    },
    ReliefOffer {
        to: String,
        role: Option<String>,
        from: Option<String>,
    },
    ReliefAccept {
        role: Option<String>,
    },
    Leave,
    Brief,
    BriefAck,
    Enrol {
        person: String,
        role: Option<String>,
        new_device: Option<String>,
        replaces: Option<String>,
        accepted: bool,
    },
    ToolScan {
        tool: String,
        test_age_months: u16,
        max_months: u16,
        wiped_today: bool,
        rated_kv: Decimal,
    },
    ToolWipe {
        tool: String,
        inspected: bool,
    },
    ToolOut {
        tool: String,
    },
    ToolIn {
        tool: String,
    },
    ToolOutOfService {
        tool: String,
    },
    OrderStatus {
        order: String,
        status: Order,
        terminals: Vec<String>,
        read_back: bool,
        holder: Option<String>,
        by: Option<String>,
        covers: Option<String>,
    },
    Identity {
        structure: String,
        circuit: String,
        phase: String,
        method: Option<String>,
    },
    Note {
        text: String,
        unsynced: bool,
    },
    NoteLate {
        step: Option<String>,
        check: Option<String>,
        text: String,
        happened_ms: u64,
    },
    Correct {
        of: String,
        value: String,
        reason: Option<String>,
    },
    Suspend {
        state: String,
        resume_by: Option<String>,
    },
    ResumeJob,
    Close,
    ScopeAdd {
        structure: String,
    },
    CloseItem {
        item: String,
        cause: String,
    },
    MakeSafe {
        step: Option<String>,
        text: String,
        tool: Option<String>,
    },
    ExitPlan {
        stop: String,
        steps: Vec<String>,
        why: String,
    },
    ExitAgree {
        plan: String,
    },
    Emergency {
        text: String,
    },
    Headcount {
        clear: Vec<String>,
        assumed: Vec<String>,
    },
    PressConfirm {
        step: String,
        check: String,
        held_ms: u64,
        began_ms: u64,
    },
    PressReady {
        handoff: String,
    },
    PressStop,
    Link {
        up: bool,
        groups: Option<(Vec<String>, Vec<String>)>,
    },
    Power {
        on: bool,
    },
    Clock {
        skew_ms: u64,
    },
    Restore {
        image_ms: u64,
    },
    Tamper {
        entry: String,
        set_value: Option<Decimal>,
    },
    Replay,
    /// Said aloud: the log cannot know.
    Speak,
    /// Done: the log cannot know.
    Physical,
}

/// What an order status says.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Order {
    /// In effect.
    InEffect,
    /// Lapsed.
    Lapsed,
    /// Released by its holder, or, with `by`, by others.
    Released,
    /// What the operator says of the line.
    LineState(String),
}

/// A person's own word that they are in the clear.
pub const CLEAR_SELF: &str = "clear_self";

impl Act {
    /// The kind, as written in the file.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Confirm { .. } => "confirm",
            Self::Decline { .. } => "decline",
            Self::Measure { .. } => "measure",
            Self::Condition { .. } => "condition",
            Self::Affirm { .. } => "affirm",
            Self::Away { .. } => "away",
            Self::Stop { .. } => "stop",
            Self::Heard { .. } => "heard",
            Self::ResumeAsk { .. } => "resume_ask",
            Self::ResumeAgree { .. } => "resume_agree",
            Self::ResumeDecline { .. } => "resume_decline",
            Self::Offer { .. } => "offer",
            Self::Ready { .. } => "ready",
            Self::NotReady { .. } => "not_ready",
            Self::Take { .. } => "take",
            Self::Done { .. } => "done",
            Self::ReliefOffer { .. } => "relief_offer",
            Self::ReliefAccept { .. } => "relief_accept",
            Self::Leave => "leave",
            Self::Brief => "brief",
            Self::BriefAck => "brief_ack",
            Self::Enrol { .. } => "enrol",
            Self::ToolScan { .. } => "tool_scan",
            Self::ToolWipe { .. } => "tool_wipe",
            Self::ToolOut { .. } => "tool_out",
            Self::ToolIn { .. } => "tool_in",
            Self::ToolOutOfService { .. } => "tool_out_of_service",
            Self::OrderStatus { .. } => "order_status",
            Self::Identity { .. } => "identity",
            Self::Note { .. } => "note",
            Self::NoteLate { .. } => "note_late",
            Self::Correct { .. } => "correct",
            Self::Suspend { .. } => "suspend",
            Self::ResumeJob => "resume_job",
            Self::Close => "close",
            Self::ScopeAdd { .. } => "scope_add",
            Self::CloseItem { .. } => "close_item",
            Self::MakeSafe { .. } => "make_safe",
            Self::ExitPlan { .. } => "exit_plan",
            Self::ExitAgree { .. } => "exit_agree",
            Self::Emergency { .. } => "emergency",
            Self::Headcount { .. } => "headcount",
            Self::PressConfirm { .. } | Self::PressReady { .. } | Self::PressStop => "press",
            Self::Link { .. } => "link",
            Self::Power { .. } => "power",
            Self::Clock { .. } => "clock",
            Self::Restore { .. } => "restore",
            Self::Tamper { .. } => "tamper",
            Self::Replay => "replay",
            Self::Speak => "speak",
            Self::Physical => "physical",
        }
    }

    /// Whether it is a stop, or becomes one.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        match self {
            Self::Stop { .. } | Self::Emergency { .. } | Self::Suspend { .. } | Self::PressStop => {
                true
            }
            Self::OrderStatus { status, by, .. } => {
                *status == Order::Lapsed || (*status == Order::Released && by.is_some())
            }
            _ => false,
        }
    }
}
