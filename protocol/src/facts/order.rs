//! Order: what is known of the hot-line order (reclosing blocked, not re-energised) from the log.
//! Owns: nothing.   Gives: `OrderView` at a cut.
//! May use: plan, log, gate::roster.   Never: whether work may go on (gate, conditions).

use super::Facts;
use crate::gate::Roster;
use crate::ids::{DeviceKey, RoleId};
use crate::log::entry::{Body, OrderState, OrderStatus};
use crate::log::graph::{Cut, EntryIx, Graph};
use crate::plan::{ConditionKind, Plan};
use crate::reason::{Owed, Reason};

/// What an order status was when it was said, by its own past.
#[derive(Clone, Copy, Debug)]
pub(super) struct Said {
    /// By the supervisor in office.
    by_holder: bool,
}

/// The line order as it stands in a cut.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct OrderView {
    /// The newest status.
    pub entry: EntryIx,
    /// Who said it.
    pub by: DeviceKey,
    /// Order number.
    pub number: String,
    /// Its state, as last said.
    pub state: OrderState,
    /// In effect at every terminal of the plan, read back, said by the supervisor in office, and covering
    /// the structure; and nobody says otherwise.
    pub in_effect: bool,
    /// Released by the supervisor in office and read back.
    pub released: bool,
    /// Terminals at which it is not known to be in effect, by the newest status: those of the plan that it does
    /// not name; where it says that the order has lapsed, those that it names, or all.
    pub not_blocked: Vec<String>,
    /// Structures that it covers; empty: not said.
    pub covers: Vec<String>,
    /// Whether it was read back.
    pub read_back: bool,
    /// What the operator says of the line.
    pub line_state: Option<String>,
}

impl OrderView {
    /// Its state in plain words, with what is missing.
    #[must_use]
    pub fn words(&self) -> String {
        let mut words = match &self.state {
            OrderState::InEffect => "in effect".to_owned(),
            OrderState::Lapsed => "lapsed".to_owned(),
            OrderState::Released => "released".to_owned(),
            OrderState::ReleasedByOthers { by } => format!("released by {by}"),
        };
        for terminal in &self.not_blocked {
            words.push_str(&format!(", not blocked at {terminal}"));
        }
        if self.state == OrderState::InEffect && !self.read_back {
            words.push_str(", not read back");
        }
        words
    }
}

/// Terminals of the plan that a status does not name.
pub(super) fn terminals_missing(status: &OrderStatus, plan: &Plan) -> Vec<String> {
    let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
    plan.line
        .terminals
        .iter()
        .filter(|wanted| !status.terminals.iter().any(|named| same(named, wanted)))
        .cloned()
        .collect()
}

/// Terminals at which a status leaves the order not in effect.
fn not_blocked(status: &OrderStatus, plan: &Plan) -> Vec<String> {
    match &status.state {
        OrderState::InEffect => terminals_missing(status, plan),
        OrderState::Lapsed if status.terminals.is_empty() => plan.line.terminals.clone(),
        OrderState::Lapsed => status.terminals.clone(),
        OrderState::Released | OrderState::ReleasedByOthers { .. } => Vec::new(),
    }
}

/// ORDER: in effect at every terminal of the plan, read back, and covering the structure if it says what it
/// covers (field practice: order at all sources, three-part exchange). Who said it is judged elsewhere.
pub(super) fn is_whole(status: &OrderStatus, plan: &Plan) -> bool {
    let structure = plan.line.structure.trim();
    status.state == OrderState::InEffect
        && status.read_back
        && terminals_missing(status, plan).is_empty()
        && (status.covers.is_empty() || status.covers.iter().any(|place| place.trim() == structure))
}

/// Why a status that says in effect, or released, is not known to be so by this author's word; empty: it is. It
/// is recorded all the same: what is said to be in effect and is not whole puts the condition out.
#[must_use]
pub fn order_against(
    roster: &Roster,
    plan: &Plan,
    author: &DeviceKey,
    status: &OrderStatus,
) -> Vec<Reason> {
    if roster.supervisor != Some(*author) {
        let needs = RoleId::try_from(RoleId::SUPERVISOR).into_iter().collect();
        return vec![Reason::WrongRole { needs }];
    }
    if status.state != OrderState::InEffect || is_whole(status, plan) {
        return Vec::new();
    }
    let orders = plan
        .conditions
        .iter()
        .filter(|condition| condition.kind == ConditionKind::Order);
    let missing = orders.map(|condition| Owed::Condition {
        condition: condition.id.clone(),
    });
    vec![Reason::Incomplete {
        missing: missing.collect(),
    }]
}

impl Facts {
    pub(super) fn note_order(&mut self, graph: &Graph, ix: EntryIx, roster: &Roster, _plan: &Plan) {
        let content = graph.content(ix);
        if let Body::OrderStatus(_) = &content.body {
            let by_holder = roster.supervisor == Some(content.author);
            self.orders.push(graph, ix, Said { by_holder });
        }
    }

    /// The line order at a cut; `None`: nobody has said anything of it.
    #[must_use]
    pub fn order(&self, graph: &Graph, cut: &Cut, plan: &Plan) -> Option<OrderView> {
        let status = |ix: EntryIx| match graph.body(ix) {
            Body::OrderStatus(status) => Some(status),
            _ => None,
        };
        let (entry, said) = self
            .orders
            .newest(cut)
            .max_by_key(|&(ix, _)| self.rank(graph, ix))?;
        let newest = status(entry)?;
        let whole = said.by_holder && is_whole(newest, plan);
        // Somebody who had not heard this status and says otherwise: then it is not known to be in effect.
        let contested = self.orders.newest(cut).any(|(other, _)| {
            other != entry
                && !graph.before(other, entry)
                && status(other).is_none_or(|status| status.state != OrderState::InEffect)
        });
        Some(OrderView {
            entry,
            by: graph.author(entry),
            number: newest.order.clone(),
            state: newest.state.clone(),
            in_effect: whole && !contested,
            released: newest.state == OrderState::Released && newest.read_back && said.by_holder,
            not_blocked: not_blocked(newest, plan),
            covers: newest.covers.clone(),
            read_back: newest.read_back,
            line_state: newest.line_state.clone(),
        })
    }

    /// Every status of the order in the cut, in rank order.
    #[must_use]
    pub fn order_history(&self, graph: &Graph, cut: &Cut) -> Vec<EntryIx> {
        self.in_rank_order(graph, self.orders.all(cut).map(|(ix, _)| ix))
    }
}
