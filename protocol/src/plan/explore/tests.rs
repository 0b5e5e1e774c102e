//! Tests of explore: the shipped plans are proved, each rule of theirs is held up by something, and what is
//! found agrees with walking every order one by one.
//! May use: everything of plan.   Never: the explorer's own model, to judge what it found.

use super::{Proof, STATES_MAX, Unproved, explore};
use crate::bounds::PLAN_MAX_BYTES;
use crate::ids::{MarkId, MarkState, StepId};
use crate::plan::{Builtin, Mark, MarkIs, Never, Plan, SMALL, Step, builtin, parse, read};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

fn plan(text: &str) -> Plan {
    parse("plan", text).unwrap_or_else(|faults| panic!("{faults}"))
}

fn shipped(builtin: &Builtin) -> Plan {
    builtin.plan().unwrap_or_else(|faults| panic!("{faults}"))
}

fn id<T: for<'a> TryFrom<&'a str, Error = crate::ids::BadId>>(text: &str) -> T {
    T::try_from(text).unwrap_or_else(|bad| panic!("{bad}"))
}

fn is(mark: &str, state: &str) -> MarkIs {
    MarkIs {
        mark: id(mark),
        state: id(state),
    }
}

fn mark(name: &str, states: &[&str]) -> Mark {
    Mark {
        id: id(name),
        states: states.iter().map(|state| id(state)).collect(),
        start: id(states[0]),
    }
}

fn never(all: &[MarkIs]) -> Never {
    Never {
        why: "test".to_owned(),
        all: all.to_vec(),
    }
}

/// A step that only has its place in the order and its marks.
fn step(name: &str, after: &[&str], needs: &[MarkIs], sets: &[MarkIs]) -> Step {
    let mut step = BASE.steps[0].clone();
    step.id = id(name);
    step.after = after.iter().map(|before| id(before)).collect();
    step.needs = needs.to_vec();
    step.sets = sets.to_vec();
    step
}

fn with(marks: Vec<Mark>, rules: Vec<Never>, steps: Vec<Step>) -> Plan {
    Plan {
        marks,
        never: rules,
        steps,
        ..BASE.clone()
    }
}

/// What the made-up plans have beside their steps, marks and rules.
static BASE: LazyLock<Plan> = LazyLock::new(|| plan(SMALL));

#[test]
fn the_shipped_plans_are_sound_proved_and_fit_an_entry() {
    // The exact counts: a change of a plan or of the explorer shows here.
    let expected = [
        ("suspension-230", 136, 84_690, 5, 42),
        ("suspension-345-ladder", 170, 878_040, 6, 45),
        ("dead-end-138", 138, 300_840, 5, 39),
    ];
    assert_eq!(builtin().len(), expected.len());
    for (builtin, (name, states, orders, widest, steps)) in builtin().iter().zip(expected) {
        assert_eq!(builtin.name, name);
        let parsed = read(builtin.name, builtin.text).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(parsed.warnings, [], "{name}");
        let rules = parsed.plan.never.len();
        let proof = Proof {
            states,
            orders,
            widest,
            rules,
            steps,
            open_early: vec![],
        };
        assert_eq!(explore(&parsed.plan, STATES_MAX), Ok(proof), "{name}");
        let bytes = postcard::to_stdvec(&parsed.plan).unwrap_or_default();
        assert!(
            !bytes.is_empty() && bytes.len() < PLAN_MAX_BYTES,
            "{name}: {}",
            bytes.len()
        );
        assert_eq!(postcard::from_bytes(&bytes), Ok(parsed.plan), "{name}");
    }
}

#[test]
fn the_230_kv_plan_has_every_phase() {
    let plan = shipped(&builtin()[0]);
    let mut phases: Vec<String> = (1..=23).map(|phase| format!("P{phase:02}")).collect();
    phases.insert(1, "P01T".to_owned());
    assert_eq!(phases.len(), 24);
    for phase in phases {
        assert!(plan.step(&id(&phase)).is_some(), "{phase}");
    }
    for (rigging, before) in [("P09P", "P09B"), ("P09C", "P12"), ("P19R", "P22")] {
        assert!(plan.step(&id(rigging)).is_some(), "{rigging}");
        assert!(comes_before(&plan, rigging, before), "{rigging} {before}");
    }
}

fn comes_before(plan: &Plan, first: &str, later: &str) -> bool {
    let Some(step) = plan.step(&id(later)) else {
        return false;
    };
    step.after
        .iter()
        .any(|before| before.as_str() == first || comes_before(plan, first, before.as_str()))
}

/// One thing taken out of a plan.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Cut {
    /// This step no longer waits for that one, only for what that one waits for; nor for any mark.
    Edge(String, String),
    /// This step waits for no step and no mark.
    Free(String),
    /// This step waits for no mark.
    Needs(String),
    /// This step is left out; what waits for it waits for what it waits for.
    Step(String),
}

impl Cut {
    fn apply(&self, plan: &Plan) -> Plan {
        let mut plan = plan.clone();
        let before_of = |name: &str| match plan.step(&id(name)) {
            Some(step) => step.after.clone(),
            None => panic!("{self:?} names no step of the plan"),
        };
        match self {
            Self::Edge(at, before) => {
                let instead = before_of(before);
                let step = at_mut(&mut plan, at);
                let edges = step.after.len();
                step.after.retain(|id| id.as_str() != before);
                assert_eq!(step.after.len(), edges - 1, "{self:?} names no edge");
                step.after.extend(instead);
                step.needs.clear();
            }
            Self::Free(at) => {
                at_mut(&mut plan, at).after.clear();
                at_mut(&mut plan, at).needs.clear();
            }
            Self::Needs(at) => at_mut(&mut plan, at).needs.clear(),
            Self::Step(gone) => {
                let instead = before_of(gone);
                plan.steps.retain(|step| step.id.as_str() != gone);
                for step in &mut plan.steps {
                    if step.after.iter().any(|before| before.as_str() == gone) {
                        step.after.retain(|before| before.as_str() != gone);
                        step.after.extend(instead.iter().cloned());
                    }
                    // A need that only the missing step fills would hold the work for ever, which is
                    // what a need is for; taken out as well, to see what the step itself holds up.
                    step.needs.clear();
                }
            }
        }
        plan
    }
}

fn at_mut<'p>(plan: &'p mut Plan, at: &str) -> &'p mut Step {
    let found = plan.steps.iter_mut().find(|step| step.id.as_str() == at);
    found.unwrap_or_else(|| panic!("no step {at}"))
}

/// Every edge and every step of a plan.
fn cuts(plan: &Plan) -> Vec<Cut> {
    let edges = plan.steps.iter().flat_map(|step| {
        let edge = |before: &StepId| Cut::Edge(step.id.to_string(), before.to_string());
        step.after.iter().map(edge)
    });
    let names = || plan.steps.iter().map(|step| step.id.to_string());
    edges.chain(names().map(Cut::Step)).collect()
}

/// All rules that a plan breaks before it comes to any dead end, each with its shortest order replayed by other means.
fn broken(plan: &Plan) -> BTreeSet<String> {
    let mut plan = plan.clone();
    let mut broken = BTreeSet::new();
    loop {
        match explore(&plan, STATES_MAX) {
            Ok(_) => return broken,
            Err(Unproved::RuleBroken {
                rule,
                why,
                order,
                under_way,
                marks,
            }) => {
                replay(&plan, &order, &under_way, &marks);
                broken.insert(why);
                plan.never.remove(rule);
            }
            // Needs hold some orders that a cut allows for ever; what breaks sooner is known by then.
            Err(Unproved::DeadEnd { .. }) => return broken,
            Err(other) => panic!("{other}"),
        }
    }
}

/// Walks an order by the plan's own words: each step may be done, and in the end the marks can be so.
fn replay(plan: &Plan, order: &[StepId], under_way: &[StepId], broken: &[MarkIs]) {
    let mut done: BTreeSet<&StepId> = BTreeSet::new();
    let start = plan.marks.iter().map(|mark| (&mark.id, &mark.start));
    let mut marks: BTreeMap<&MarkId, &MarkState> = start.collect();
    let may = |done: &BTreeSet<&StepId>, marks: &BTreeMap<&MarkId, &MarkState>, at: &StepId| {
        let Some(step) = plan.step(at) else {
            panic!("no step {at}");
        };
        assert!(!done.contains(at), "{at} twice");
        assert!(
            step.after.iter().all(|before| done.contains(before)),
            "{at} too early"
        );
        assert!(
            step.needs
                .iter()
                .all(|need| marks[&need.mark] == &need.state),
            "{at} needs"
        );
        step
    };
    for at in order {
        let step = may(&done, &marks, at);
        done.insert(&step.id);
        for set in &step.sets {
            marks.insert(&set.mark, &set.state);
        }
    }
    let under_way: Vec<&Step> = under_way.iter().map(|at| may(&done, &marks, at)).collect();
    for is in broken {
        let by_step = under_way.iter().any(|step| step.sets.contains(is));
        assert!(
            by_step || marks[&is.mark] == &is.state,
            "{is:?} cannot be so"
        );
    }
}

#[test]
fn each_rule_is_held_up_by_something_in_the_plan() {
    for builtin in builtin() {
        let plan = shipped(builtin);
        let mut guards: BTreeMap<String, Vec<Cut>> = BTreeMap::new();
        for cut in cuts(&plan) {
            for why in broken(&cut.apply(&plan)) {
                guards.entry(why).or_default().push(cut.clone());
            }
        }
        println!("{}:", builtin.name);
        for rule in &plan.never {
            let mut guards = guards.remove(&rule.why).unwrap_or_default();
            if guards.is_empty() {
                // Held up by more than one edge: then by all edges of a step that sets one of its marks.
                let sets_one = |step: &&Step| rule.all.iter().any(|is| step.sets.contains(is));
                let steps = plan.steps.iter().filter(sets_one);
                let free = steps.map(|step| Cut::Free(step.id.to_string()));
                let breaks = |cut: &Cut| broken(&cut.apply(&plan)).contains(&rule.why);
                guards = free.filter(breaks).collect();
            }
            println!("  {}: {guards:?}", rule.why);
            assert!(
                !guards.is_empty(),
                "{}: nothing holds up {:?}",
                builtin.name,
                rule.why
            );
        }
    }
}

/// Needed marks are a second guard beside the order of steps: let the step begin one, two or three steps
/// too early, or at any time, and they still hold up a rule that breaks once they are gone too.
#[test]
fn each_needed_mark_is_a_guard_of_its_own() {
    for builtin in builtin() {
        let plan = shipped(builtin);
        for step in plan.steps.iter().filter(|step| !step.needs.is_empty()) {
            let name = step.id.as_str();
            let mut early = plan.clone();
            let held_up = (0..4).find_map(|earlier| {
                let before = early.step(&step.id)?.after.clone();
                let before = before.iter().filter_map(|id| plan.step(id));
                let before = before.flat_map(|step| step.after.clone()).collect();
                at_mut(&mut early, name).after = if earlier < 3 { before } else { vec![] };
                let mut gone = early.clone();
                at_mut(&mut gone, name).needs.clear();
                let (gone, kept) = (broken(&gone), broken(&early));
                gone.difference(&kept).next().cloned()
            });
            println!("{} {}: {held_up:?}", builtin.name, step.id);
            assert!(
                held_up.is_some(),
                "{}: needs of {name} guard nothing",
                builtin.name
            );
        }
    }
}

/// The rules of the trade in all three plans, each with what holds it up taken out. Two cuts in one line:
/// a needed mark guards the same order a second time.
#[test]
fn the_guards_of_the_trade_each_matter() {
    let edge = |at: &str, before: &str| vec![Cut::Edge(at.to_owned(), before.to_owned())];
    let free = |at: &str| vec![Cut::Free(at.to_owned())];
    let gone = |at: &str| vec![Cut::Step(at.to_owned())];
    let mut early_order = edge("P05", "P02");
    early_order.push(Cut::Needs("P07C".to_owned()));
    let all: Vec<(Vec<Cut>, &str)> = vec![
        (
            edge("P12", "P11"),
            "the string is let go: poles not carrying",
        ),
        (gone("P11"), "the string is let go: poles not carrying"),
        (free("P12"), "the string is let go: no poles"),
        (gone("P11"), "cold end free and poles not carrying"),
        (free("P14H"), "cold end free without poles"),
        (edge("P12", "P11"), "cold end free with the hot end joined"),
        (edge("P14H", "P13"), "before anyone is in series"),
        (gone("P13"), "before anyone is in series"),
        (edge("P15", "P15G"), "before anyone is in series"),
        (gone("P15G"), "before anyone is in series"),
        (edge("P16", "P15C"), "before anyone is in series"),
        (edge("P14H", "P13"), "until the string is in the clear"),
        (edge("P14G", "P14S"), "until the string is in the clear"),
        (
            gone("P16"),
            "Static ground off before the hot end is joined",
        ),
        (
            free("P17"),
            "Static ground off before the hot end is joined",
        ),
        (
            gone("P15C"),
            "hands on the string when the hot end is joined",
        ),
        (edge("P19", "P18"), "before the load returns to the string"),
        (gone("P18"), "before the load returns to the string"),
        (edge("P19", "P18"), "before the poles let go"),
        (gone("P07"), "No load moving with the drop zone open"),
        (gone("P07"), "Nobody aloft with the drop zone open"),
        (edge("P07C", "P07"), "Nobody aloft with the drop zone open"),
        (edge("P21", "P20D"), "Nobody aloft with the drop zone open"),
        (early_order, "Nobody aloft before the order is in effect"),
        (gone("P02"), "Nobody aloft before the order is in effect"),
        (free("P22"), "Nobody aloft when the order is released"),
        (gone("P20D"), "Nobody aloft when the order is released"),
        (gone("P20"), "Poles off before the order is released"),
        (
            gone("P16"),
            "Static ground off before the order is released",
        ),
    ];
    let mast = vec![
        (edge("P09B", "P09P"), "mast only standing"),
        (gone("P09P"), "mast only standing"),
        (free("P09B"), "before the boom is up: no mast"),
        (
            edge("P20M", "P20B"),
            "No rigged boom on a mast that is down",
        ),
        (edge("P09C", "P09R"), "before the boom is rigged"),
        (free("P15U"), "before the boom is up"),
        (gone("P09C"), "Corona ring off"),
        (gone("P19R"), "Corona ring on"),
    ];
    let ladder = vec![
        (edge("P09W", "P09G"), "Ladder guyed before anyone is on it"),
        (free("P09W"), "Ladder hung before anyone is on it"),
        (gone("P12L"), "Nobody on the ladder while a string hangs"),
        (
            edge("P13", "P12L"),
            "Nobody on the ladder while the static ground",
        ),
        (edge("P20L", "P20W"), "Ladder hung before anyone is on it"),
        (gone("P09A"), "before the arm block is rigged"),
    ];
    let dead_end = vec![
        (edge("P11", "P10C"), "before its tension is taken"),
        (gone("P10C"), "before it is let go"),
        (gone("P09A"), "before the bridge block is rigged"),
        (gone("P19C"), "Cradle off before the order"),
    ];
    let mut failed = Vec::new();
    for (builtin, own) in builtin().iter().zip([mast, ladder, dead_end]) {
        let whole = shipped(builtin);
        for (cuts, why) in all.iter().chain(&own) {
            let mut cut = cuts
                .iter()
                .fold(whole.clone(), |plan, cut| cut.apply(&plan));
            cut.never.retain(|rule| rule.why.contains(why));
            let broken = broken(&cut);
            println!("{}: without {cuts:?}: {broken:?}", builtin.name);
            if broken.is_empty() {
                failed.push(format!("{}: {cuts:?} does not break {why:?}", builtin.name));
            }
        }
    }
    assert!(failed.is_empty(), "{failed:#?}");
}

#[test]
fn a_step_under_way_may_have_done_one_of_its_marks_and_not_the_other() {
    let marks = || vec![mark("a", &["off", "on"]), mark("b", &["off", "on"])];
    let sets = [is("a", "on"), is("b", "on")];
    let plan = with(
        marks(),
        vec![never(&[is("a", "on"), is("b", "off")])],
        vec![step("one", &[], &[], &sets)],
    );
    assert_eq!(
        explore(&plan, STATES_MAX),
        Err(Unproved::RuleBroken {
            rule: 0,
            why: "test".to_owned(),
            order: vec![],
            under_way: vec![id("one")],
            marks: vec![is("a", "on"), is("b", "off")],
        })
    );
    // Two steps beside each other, each harmless alone.
    let plan = with(
        marks(),
        vec![never(&sets)],
        vec![
            step("zero", &[], &[], &[]),
            step("one", &["zero"], &[], &sets[..1]),
            step("two", &["zero"], &[], &sets[1..]),
            step("off", &["one"], &[], &[is("a", "off")]),
        ],
    );
    match explore(&plan, STATES_MAX) {
        Err(Unproved::RuleBroken {
            order, under_way, ..
        }) => {
            assert_eq!(order, [id("zero")]);
            assert_eq!(under_way, [id("one"), id("two")]);
        }
        other => panic!("{other:?}"),
    }
    // The second waits for the first mark to be off again: never both.
    let mut plan = plan;
    plan.steps[2].after = vec![id("off")];
    assert!(explore(&plan, STATES_MAX).is_ok());
}

#[test]
fn a_dead_end_is_found_with_what_it_waits_for() {
    let plan = with(
        vec![mark("a", &["off", "on"])],
        vec![],
        vec![
            step("on", &[], &[], &[is("a", "on")]),
            step("off", &[], &[], &[is("a", "off")]),
            step("last", &["on", "off"], &[is("a", "on")], &[]),
        ],
    );
    assert_eq!(
        explore(&plan, STATES_MAX),
        Err(Unproved::DeadEnd {
            order: vec![id("on"), id("off")],
            waiting: vec![(id("last"), vec![is("a", "on")])],
        })
    );
}

#[test]
fn a_step_that_is_open_before_its_mark_is_so_is_named() {
    let mut plan = with(
        vec![mark("a", &["off", "on"])],
        vec![],
        vec![
            step("on", &[], &[], &[is("a", "on")]),
            step("next", &[], &[is("a", "on")], &[]),
        ],
    );
    let early = |plan: &Plan| explore(plan, STATES_MAX).map(|proof| proof.open_early);
    assert_eq!(early(&plan), Ok(vec![id("next")]));
    plan.steps[1].after = vec![id("on")];
    assert_eq!(early(&plan), Ok(vec![]));
}

#[test]
fn twelve_free_steps_are_4096_states_and_more_than_the_limit_is_an_answer() {
    let names: Vec<String> = (0..12).map(|at| format!("s{at}")).collect();
    let steps = names.iter().map(|name| step(name, &[], &[], &[])).collect();
    let plan = with(vec![], vec![], steps);
    assert_eq!(
        explore(&plan, STATES_MAX),
        Ok(Proof {
            states: 4_096,
            orders: 479_001_600,
            widest: 12,
            rules: 0,
            steps: 12,
            open_early: vec![],
        })
    );
    assert!(explore(&plan, 4_096).is_ok());
    let most = 4_095;
    assert_eq!(explore(&plan, most), Err(Unproved::TooManyStates { most }));
}

#[test]
fn a_plan_that_does_not_pass_its_check_is_not_explored() {
    let mut unknown = plan(SMALL);
    unknown.steps[1].after = vec![id("elsewhere")];
    assert_eq!(explore(&unknown, STATES_MAX), Err(Unproved::Unsound));
    let mut unknown = plan(SMALL);
    unknown.never[0].all = vec![is("poles", "elsewhere")];
    assert_eq!(explore(&unknown, STATES_MAX), Err(Unproved::Unsound));
    let mut many = plan(SMALL);
    let first = many.steps[0].clone();
    many.steps = vec![first; crate::bounds::STEPS_MAX + 1];
    assert_eq!(explore(&many, STATES_MAX), Err(Unproved::Unsound));
}

/// SplitMix64 (Steele, Lea, Flood 2014).
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        usize::try_from(z % bound as u64).unwrap_or(0)
    }
}

/// A small plan with three marks, up to six steps, up to three rules.
fn random_plan(dice: &mut Dice) -> Plan {
    const MARKS: [&str; 3] = ["a", "b", "c"];
    const STATES: [&str; 3] = ["off", "on", "far"];
    let names: Vec<String> = (0..2 + dice.below(5)).map(|at| format!("s{at}")).collect();
    let some = |dice: &mut Dice, one_in: usize| -> Vec<MarkIs> {
        let marks = MARKS.iter().filter_map(|mark| {
            let wanted = dice.below(one_in) == 0;
            wanted.then(|| is(mark, STATES[dice.below(3)]))
        });
        marks.collect()
    };
    let mut steps = Vec::new();
    for at in 0..names.len() {
        let before = names[..at].iter().map(String::as_str);
        let before: Vec<&str> = before.filter(|_| dice.below(3) == 0).collect();
        let (needs, sets) = (some(dice, 9), some(dice, 3));
        steps.push(step(&names[at], &before, &needs, &sets));
    }
    // In the file a step may stand before what it waits for.
    let turn = dice.below(steps.len());
    steps.rotate_left(turn);
    let rules = (0..dice.below(4)).map(|_| {
        let mut all = some(dice, 2);
        if all.is_empty() {
            all.push(is("a", "far"));
        }
        never(&all)
    });
    let rules = rules.collect();
    let marks = MARKS.iter().map(|name| mark(name, &STATES)).collect();
    with(marks, rules, steps)
}

/// What walking every order one by one finds.
#[derive(Default)]
struct Walked {
    orders: u128,
    states: BTreeSet<(BTreeSet<usize>, Vec<String>)>,
    /// Steps complete when a rule is first broken, on the shortest order.
    breaks_after: Option<usize>,
    /// Steps complete at the first dead end, on the shortest order.
    ends_after: Option<usize>,
}

fn walk(plan: &Plan, done: &mut Vec<usize>, walked: &mut Walked) {
    let mut marks: BTreeMap<String, String> = plan
        .marks
        .iter()
        .map(|mark| (mark.id.to_string(), mark.start.to_string()))
        .collect();
    for at in done.iter() {
        for set in &plan.steps[*at].sets {
            marks.insert(set.mark.to_string(), set.state.to_string());
        }
    }
    let is_so = |is: &MarkIs| marks[is.mark.as_str()] == is.state.as_str();
    let going: Vec<usize> = (0..plan.steps.len())
        .filter(|at| !done.contains(at))
        .filter(|at| {
            let step = &plan.steps[*at];
            let complete = |before: &StepId| done.iter().any(|at| plan.steps[*at].id == *before);
            step.after.iter().all(complete) && step.needs.iter().all(is_so)
        })
        .collect();
    let may_be =
        |is: &MarkIs| is_so(is) || going.iter().any(|at| plan.steps[*at].sets.contains(is));
    let shorter = |best: Option<usize>, here: usize| Some(best.map_or(here, |b| b.min(here)));
    if plan.never.iter().any(|rule| rule.all.iter().all(may_be)) {
        walked.breaks_after = shorter(walked.breaks_after, done.len());
    }
    let set = done.iter().copied().collect();
    walked.states.insert((set, marks.into_values().collect()));
    if going.is_empty() {
        if done.len() == plan.steps.len() {
            walked.orders += 1;
        } else {
            walked.ends_after = shorter(walked.ends_after, done.len());
        }
    }
    for at in going {
        done.push(at);
        walk(plan, done, walked);
        done.pop();
    }
}

#[test]
fn explore_agrees_with_walking_every_order_one_by_one() {
    let seed = 0x00c0_ffee_u64;
    println!("seed {seed:#x}");
    let mut dice = Dice(seed);
    let mut seen = [0_u32; 3];
    for round in 0..1_000 {
        let plan = random_plan(&mut dice);
        let mut walked = Walked::default();
        walk(&plan, &mut Vec::new(), &mut walked);
        let told = format!("seed {seed:#x} round {round}: {:?}", plan.steps);
        match explore(&plan, STATES_MAX) {
            Ok(proof) => {
                seen[0] += 1;
                assert_eq!(walked.breaks_after, None, "{told}");
                assert_eq!(walked.ends_after, None, "{told}");
                assert_eq!(proof.states, walked.states.len(), "{told}");
                // Marks that end differently make several last states; their orders add up.
                assert!(proof.orders <= walked.orders, "{told}");
            }
            Err(Unproved::RuleBroken {
                order,
                under_way,
                marks,
                ..
            }) => {
                seen[1] += 1;
                assert_eq!(walked.breaks_after, Some(order.len()), "{told}");
                replay(&plan, &order, &under_way, &marks);
            }
            Err(Unproved::DeadEnd { order, .. }) => {
                seen[2] += 1;
                assert_eq!(walked.ends_after, Some(order.len()), "{told}");
                assert!(
                    walked.breaks_after.is_none_or(|at| at >= order.len()),
                    "{told}"
                );
            }
            Err(other) => panic!("{other}: {told}"),
        }
    }
    assert!(
        seen.iter().all(|count| *count > 50),
        "a case is too rare: {seen:?}"
    );
}
