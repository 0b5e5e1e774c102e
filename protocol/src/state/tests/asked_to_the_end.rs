//! Tests that whoever is asked can bring a check to its end, whatever was said to it before (I10).
//!
//! Nothing that people said may leave a crew with a check that is not complete and nobody's page asking for it.
use super::*;
use crate::log::sample::Draw;

const TOWER_2: u8 = 4;
const GROUND_2: u8 = 5;

/// What happened, for whoever reads of a failure.
type Told = Vec<String>;

/// What may be said to a check; the first passes.
fn answers(expects: &Expects) -> Vec<Said> {
    match expects {
        Expects::Measured { .. } => vec![metres("1.80"), metres("1.20"), metres("1.60")],
        Expects::Yes => vec![Said::Yes],
        _ => ["zz", "qq"].map(|word| Said::Words(word.into())).to_vec(),
    }
}

fn kinds() -> Vec<(Who, Expects)> {
    let roles = |roles: &[&str]| roles.iter().map(|role| name(role)).collect::<Vec<_>>();
    let read_back = |report: &[&str], repeat: &[&str]| Who::ReadBack {
        report: roles(report),
        repeat: roles(repeat),
    };
    let second_look = |first: &[&str], second: &[&str]| Who::SecondLook {
        first: roles(first),
        second: roles(second),
    };
    let one_of = || Expects::OneOf {
        answers: vec!["zz".into(), "qq".into()],
        passes: "zz".into(),
    };
    let limited = || Expects::Measured { limit: name("gap") };
    let mut kinds = Vec::new();
    for expects in [Expects::Yes, one_of(), Expects::Words, limited()] {
        for who in [
            Who::Roles(roles(&["tower"])),
            Who::Roles(roles(&["tower", "tower"])),
            Who::Roles(roles(&["tower", "ground"])),
            Who::Each(Some(name("tower"))),
            Who::Each(None),
            read_back(&["tower"], &["ground"]),
            read_back(&["supervisor"], &["observer"]),
            read_back(&["tower", "ground"], &["tower", "ground"]),
            second_look(&["tower"], &["ground"]),
            second_look(&["tower"], &["tower"]),
        ] {
            kinds.push((who, expects.clone()));
        }
    }
    kinds
}

/// A crew of six, two of them in the tower and two on the ground, or of four, of whom one is in both; and a step of
/// the check and another one.
fn crowd(who: Who, expects: Expects, few: bool) -> Site {
    let mut plan = plan();
    plan.limits = vec![gap("1.5")];
    let seen = check("seen", Who::Roles(vec![name("observer")]), Expects::Yes);
    plan.steps = vec![step("rig", &[], vec![check("so", who, expects), seen])];
    let mut site = Site::with(plan);
    if few {
        let admit = Admit {
            device: key(GROUND),
            person: name("Ground 1"),
            roles: vec![name("ground"), name("tower")],
            replaces: None,
        };
        site.say(LEAD, Body::Admit(admit));
        site.look_around();
        return site;
    }
    for (device, person, role) in [
        (TOWER_2, "Tower 2", "tower"),
        (GROUND_2, "Ground 2", "ground"),
    ] {
        let admit = Admit {
            device: key(device),
            person: name(person),
            roles: vec![name(role)],
            replaces: None,
        };
        site.say(LEAD, Body::Admit(admit));
        site.say(device, Body::Accept);
        site.say(device, Body::Briefed(Briefed { version: 0 }));
    }
    site.look_around();
    site
}

/// Who is on the job.
fn crew(site: &Site) -> Vec<u8> {
    let roster = site.job.roster();
    (0..=GROUND_2)
        .filter(|device| roster.present(&key(*device)))
        .collect()
}

/// Stops are heard, asked about, agreed on and released.
fn release(site: &mut Site) {
    let stops: Vec<EntryHash> = site.status(LEAD).stops.iter().map(|s| s.entry).collect();
    if stops.is_empty() {
        return;
    }
    for stop in &stops {
        for device in crew(site) {
            site.say(device, Body::Heard(Heard { stop: *stop }));
        }
    }
    for device in crew(site) {
        // After a second stop for the same cause everybody is briefed anew.
        site.say(device, Body::Briefed(Briefed { version: 0 }));
    }
    let ask = Body::Ask(Ask {
        stops,
        cause: "seen to".into(),
        open_item: None,
        closes_item: None,
    });
    let ask = site.say(LEAD, ask);
    let ask = site.job.graph().hash(ask);
    for device in crew(site).into_iter().filter(|device| *device != LEAD) {
        site.say(device, Body::Agree(Agree { to: ask }));
    }
    site.look_around();
    let evidence = site.evidence(LEAD);
    site.say(LEAD, Body::Release(Release { ask, evidence }));
    site.look_around();
    assert_ne!(site.call(LEAD).word, CallWord::StopWork);
}

/// Whether a device is asked for the check, and if so, whether with what was done since.
fn asked(site: &Site, device: u8) -> Option<bool> {
    let asked = site.status(device).asked;
    asked.into_iter().find_map(|asked| match asked {
        AskedOf::Check { check, since, .. } if check.as_str() == "so" => Some(since),
        _ => None,
    })
}

/// What somebody else has reported, for whoever repeats.
fn heard(site: &Site, device: u8, who: &Who) -> Option<Said> {
    let Who::ReadBack { report, .. } = who else {
        return None;
    };
    let (job, graph) = (&site.job, site.job.graph());
    let reports = |of: &DeviceKey| report.iter().any(|role| job.roster().holds(of, role));
    job.given(&name("rig"), &name("so"))
        .into_iter()
        .filter(|ix| graph.author(*ix) != key(device) && reports(&graph.author(*ix)))
        .find_map(|ix| match graph.body(ix) {
            Body::Acknowledge(given) => Some(given.said.clone()),
            _ => None,
        })
}

/// Everybody who is asked answers in turn, in any order; whether that brings the check to its end.
fn to_the_end(site: &mut Site, who: &Who, good: &Said, draw: &mut Draw, told: &mut Told) -> bool {
    let done = |site: &Site| site.job.check_done(&name("rig"), &name("so"));
    let mut is_asked = true;
    for _ in 0..6 {
        if done(site) || !is_asked {
            break;
        }
        is_asked = false;
        let mut crew = crew(site);
        let first = draw.below(crew.len());
        crew.rotate_left(first);
        for device in crew {
            let Some(since) = asked(site, device) else {
                continue;
            };
            is_asked = true;
            let change = since.then_some("put right");
            told.push(format!("{device} is asked, {change:?}"));
            let said = heard(site, device, who).unwrap_or_else(|| good.clone());
            site.acknowledge_after(device, "rig", "so", said, change);
            release(site);
        }
    }
    done(site)
}

#[test]
fn whatever_was_said_to_a_check_whoever_is_asked_brings_it_to_its_end() {
    let mut objected = 0;
    for (kind, (who, expects)) in kinds().into_iter().enumerate() {
        let says = answers(&expects);
        for turn in 0..20 {
            let seed = kind as u64 * 1_000 + turn;
            let mut draw = Draw(seed);
            let few = draw.below(4) == 0;
            let mut site = crowd(who.clone(), expects.clone(), few);
            let mut told = Told::new();
            if draw.below(2) == 0 {
                // What is said then speaks against a step that was complete: a stop.
                site.acknowledge(EYES, "rig", "seen", Said::Yes);
                assert!(to_the_end(&mut site, &who, &says[0], &mut draw, &mut told));
            }
            for _ in 0..draw.below(7) {
                let device = crew(&site)[draw.below(crew(&site).len())];
                if draw.below(6) == 0 {
                    site.acknowledge(EYES, "rig", "seen", Said::Yes);
                    told.push("seen".to_owned());
                } else if draw.below(6) == 0 {
                    let cannot = Cannot {
                        step: name("rig"),
                        check: name("so"),
                        why: "fog".into(),
                    };
                    site.say(device, Body::Cannot(cannot));
                    site.look_around();
                    told.push(format!("{device} cannot"));
                } else {
                    let said = says[draw.below(says.len())].clone();
                    let change = (draw.below(4) == 0).then_some("cleaned");
                    told.push(format!("{device} {said:?} {change:?}"));
                    site.acknowledge_after(device, "rig", "so", said, change);
                }
                objected += usize::from(!site.status(LEAD).stops.is_empty());
                release(&mut site);
            }
            assert!(
                to_the_end(&mut site, &who, &says[0], &mut draw, &mut told),
                "seed {seed}: {who:?} {expects:?}: {told:#?}: {:?}",
                site.job.missing(&name("rig"))
            );
        }
    }
    assert!(objected > 100, "{objected} stops by what was said");
}
