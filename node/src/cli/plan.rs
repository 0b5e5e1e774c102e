//! Plan: which plans are there, what do they say, are they good?
//! Owns: nothing.   Gives: `gantline plan list`, `show`, `limits`, `check`; `Named`, a plan by name or file.
//! May use: protocol's plan, sheet.   Never: a rule about plans (protocol has them).

use super::{Answer, Exit, Problem, Settings, read_text};
use crate::sheet::{self, Heading};
use clap::Subcommand;
use gantline_protocol::limits::sheet::{CAUTIONS, Gapped, Line as SheetLine};
use gantline_protocol::plan::{
    Condition, Faults, Parsed, Plan, STATES_MAX, briefing_sheet, builtin, explore, limit_sheet,
    read, show,
};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// List, show and check plans and their limits
///
/// A plan and its limits are planning aids: local codes, the utility's rules and licensed engineers decide.
#[derive(Debug, Subcommand)]
pub(super) enum Arguments {
    /// List the plans that ship
    List,
    /// Show a plan: line, crew, limits with their sources, rules, steps and checks
    Show {
        /// Name of a plan that ships, or a plan file
        #[arg(value_name = "NAME_OR_FILE")]
        plan: String,
        /// The sheet for the briefing instead
        #[arg(long)]
        briefing: bool,
        /// Its text in the plan format, to begin a plan of one's own from
        #[arg(long, conflicts_with = "briefing")]
        source: bool,
    },
    /// Show the limit sheet of a plan: values, inputs, sources, what is missing
    ///
    /// Planning aid: local codes, the utility's rules and licensed engineers decide. Every value rests on the
    /// plan's own inputs; what the plan leaves out is asked for by name, never guessed, and outside the range
    /// of its source a formula gives no number. Exit code 1 when something could not be computed.
    Limits {
        /// Name of a plan that ships, or a plan file
        #[arg(value_name = "NAME_OR_FILE")]
        plan: String,
        /// Write the sheet with its drawings as one HTML file that prints on two sides
        #[arg(long, value_name = "FILE")]
        html: Option<PathBuf>,
    },
    /// Check a plan, and prove its rules over every order of steps that it allows
    ///
    /// Exit code 0: it hangs together, and no order of its steps breaks a rule. 1: it does not; the places in
    /// the file, or the shortest order that breaks a rule, are printed.
    Check {
        /// Name of a plan that ships, or a plan file
        #[arg(value_name = "NAME_OR_FILE")]
        plan: String,
    },
}

#[derive(Debug, Serialize)]
struct Listed {
    name: String,
    title: String,
    steps: usize,
}

#[derive(Debug, Serialize)]
#[serde(rename_all = "snake_case")]
struct Checked {
    ok: bool,
    plan: String,
    faults: Vec<String>,
    warnings: Vec<String>,
    /// The shortest order that breaks a rule, or why there is no proof.
    unproved: Option<String>,
    states: Option<usize>,
    orders: Option<String>,
    rules: Option<usize>,
    steps: Option<usize>,
}

pub(super) fn run(settings: &Settings, arguments: &Arguments) -> Result<Exit, Problem> {
    let mut answer = Answer::new();
    match arguments {
        Arguments::List => list(settings, &mut answer),
        Arguments::Show {
            plan,
            briefing,
            source,
        } => {
            let named = Named::find(plan)?;
            if *source {
                answer.bytes(named.text.as_bytes())?;
                return Ok(Exit::Good);
            }
            let plan = named.plan()?;
            if settings.json {
                answer.json(&plan)?;
            } else if *briefing {
                answer.line(briefing_sheet(&plan).trim_end())?;
            } else {
                answer.line(show(&plan).trim_end())?;
            }
            Ok(Exit::Good)
        }
        Arguments::Limits { plan, html } => limits(
            settings,
            &mut answer,
            &Named::find(plan)?.plan()?,
            html.as_deref(),
        ),
        Arguments::Check { plan } => check(settings, &mut answer, &Named::find(plan)?),
    }
}

/// The limit sheet as JSON; its drawings are for the page.
#[derive(Debug, Serialize)]
struct LimitSheet<'a> {
    title: &'a str,
    lines: &'a [SheetLine],
    not_computed: &'a [Gapped],
    not_used: &'a [String],
    /// Standing conditions: whose reading is good for how long, seconds.
    watched: &'a [Condition],
    cautions: &'a [&'static str],
}

fn limits(
    settings: &Settings,
    answer: &mut Answer,
    plan: &Plan,
    html: Option<&Path>,
) -> Result<Exit, Problem> {
    let sheet = limit_sheet(plan);
    let heading = Heading::of(plan);
    if let Some(path) = html {
        let write = |source| Problem::File {
            path: path.to_owned(),
            source,
        };
        std::fs::write(path, sheet::page(&sheet, &heading)).map_err(write)?;
    }
    if settings.json {
        answer.json(&LimitSheet {
            title: &plan.title,
            lines: &sheet.lines,
            not_computed: &sheet.gaps,
            not_used: &sheet.never_used,
            watched: &plan.conditions,
            cautions: CAUTIONS,
        })?;
    } else {
        answer.line(sheet::text(&sheet, &heading).trim_end())?;
    }
    Ok(if sheet.gaps.is_empty() {
        Exit::Good
    } else {
        Exit::No
    })
}

/// A plan's text, with the name it was asked for by.
#[derive(Debug)]
pub(super) struct Named {
    name: String,
    text: String,
}

impl Named {
    /// A plan that ships, or a file.
    pub(super) fn find(name: &str) -> Result<Self, Problem> {
        let ships = builtin().iter().find(|plan| plan.name == name);
        let text = match ships {
            Some(plan) => plan.text.to_owned(),
            None if Path::new(name).exists() => read_text(Path::new(name))?,
            None => {
                return Err(Problem::NoSuchPlan {
                    name: name.to_owned(),
                    known: builtin().iter().map(|plan| plan.name.to_owned()).collect(),
                });
            }
        };
        Ok(Self {
            name: name.to_owned(),
            text,
        })
    }

    fn parsed(&self) -> Result<Parsed, Faults> {
        read(&self.name, &self.text)
    }

    /// The plan, if it hangs together.
    pub(super) fn plan(&self) -> Result<Plan, Problem> {
        Ok(self.parsed()?.plan)
    }
}

fn list(settings: &Settings, answer: &mut Answer) -> Result<Exit, Problem> {
    let mut all = Vec::new();
    for ships in builtin() {
        let plan = ships.plan()?;
        all.push(Listed {
            name: ships.name.to_owned(),
            title: plan.title,
            steps: plan.steps.len(),
        });
    }
    if settings.json {
        answer.json(&all)?;
    } else {
        for plan in all {
            answer.line(format_args!(
                "{}: {} ({} steps)",
                plan.name, plan.title, plan.steps
            ))?;
        }
    }
    Ok(Exit::Good)
}

fn check(settings: &Settings, answer: &mut Answer, named: &Named) -> Result<Exit, Problem> {
    let mut checked = Checked {
        ok: false,
        plan: named.name.clone(),
        faults: Vec::new(),
        warnings: Vec::new(),
        unproved: None,
        states: None,
        orders: None,
        rules: None,
        steps: None,
    };
    match named.parsed() {
        Err(faults) => {
            let file = &faults.file;
            checked.faults = faults
                .list
                .iter()
                .map(|fault| format!("{file}:{fault}"))
                .collect();
        }
        Ok(parsed) => {
            checked.warnings = parsed
                .warnings
                .iter()
                .map(|fault| format!("{}:{fault}", named.name))
                .collect();
            checked.steps = Some(parsed.plan.steps.len());
            match explore(&parsed.plan, STATES_MAX) {
                Ok(proof) => {
                    checked.ok = true;
                    checked.states = Some(proof.states);
                    checked.orders = Some(match proof.orders {
                        u128::MAX => "more than can be counted".to_owned(),
                        orders => orders.to_string(),
                    });
                    checked.rules = Some(proof.rules);
                }
                Err(unproved) => checked.unproved = Some(unproved.to_string()),
            }
        }
    }
    let exit = if checked.ok { Exit::Good } else { Exit::No };
    if settings.json {
        answer.json(&checked)?;
        return Ok(exit);
    }
    for fault in &checked.faults {
        answer.line(fault)?;
    }
    for warning in &checked.warnings {
        answer.line(format_args!("{warning} (a warning)"))?;
    }
    if let Some(unproved) = &checked.unproved {
        answer.line(format_args!("{}: {unproved}", checked.plan))?;
    }
    if let (true, Some(steps), Some(rules), Some(states), Some(orders)) = (
        checked.ok,
        checked.steps,
        checked.rules,
        checked.states,
        &checked.orders,
    ) {
        answer.line(format_args!(
            "{}: good. {rules} rules hold in every order of its {steps} steps: {states} states, {orders} orders.",
            checked.plan
        ))?;
    }
    Ok(exit)
}
