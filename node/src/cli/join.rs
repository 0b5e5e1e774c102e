//! Join: how does a device ask to join a job, and what does its holder see until it is admitted?
//! Owns: nothing.   Gives: `gantline job join`.
//! May use: device's way onto a job, the waiting page, node.   Never: on the job by itself: somebody there admits.

use super::{Answer, Exit, Problem, Settings, node};
use crate::control::client::Client;
use crate::device::{Home, NodeConfig, NodeHandle, join_job};
use crate::pages::Waiting;
use clap::Args;
use gantline_protocol::ids::{DeviceKey, JobId, Person};
use serde::Serialize;
use std::net::SocketAddr;
use std::time::Duration;

/// A page that is open looks each second; nobody need have opened it.
const TOLD_WITHIN: Duration = Duration::from_secs(5);

/// Ask to join a job at a device that is on it, and wait until it is admitted
///
/// Both screens show the same six words. Read them out; who admits compares. Prints the words first (with
/// --json a line with `words`), again when the device there has begun anew and there are others, and the job
/// when admitted (a line with `job`).
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Address of a device on the job, as that device's node prints it
    address: SocketAddr,
    /// Your call sign
    #[arg(long)]
    person: Person,
    /// The key of the only device that may answer there
    #[arg(long, value_name = "KEY")]
    device: Option<DeviceKey>,
    /// Show the words on a page of this device too: prints a link to it (with --json a line with `page`); once
    /// admitted, runs this device's node and goes on to its page
    #[arg(long)]
    page: bool,
}

#[derive(Debug, Serialize)]
struct PageShown {
    page: String,
}

#[derive(Debug, Serialize)]
struct WordsShown {
    words: String,
}

#[derive(Debug, Serialize)]
struct Joined {
    job: String,
}

pub(super) fn run(settings: &Settings, home: &Home, arguments: Arguments) -> Result<Exit, Problem> {
    node::runtime()?.block_on(async {
        if !arguments.page {
            ask(settings, home, &arguments, None).await?;
            return Ok(Exit::Good);
        }
        let (address, person) = (arguments.address, arguments.person.clone());
        let serving = Waiting::serve(home, address, person).await;
        let waiting = serving.map_err(Problem::Runtime)?;
        let page = waiting.link().map_err(Problem::Runtime)?;
        let mut answer = Answer::new();
        if settings.json {
            answer.json(&PageShown { page })?;
        } else {
            answer.line(format_args!("Open in a browser on this machine: {page}"))?;
        }
        match ask(settings, home, &arguments, Some(&waiting)).await {
            Ok(job) => work(settings, home, job, waiting).await,
            Err(problem) => {
                if let Problem::Join(fault) = &problem {
                    waiting.ended(fault);
                    waiting.told(TOLD_WITHIN).await;
                }
                Err(problem)
            }
        }
    })
}

/// Asks, shows the words, waits.
async fn ask(
    settings: &Settings,
    home: &Home,
    arguments: &Arguments,
    waiting: Option<&Waiting>,
) -> Result<JobId, Problem> {
    let mut answer = Answer::new();
    let mut shown = Ok(());
    let (address, device) = (arguments.address, arguments.device);
    let job = join_job(home, address, device, arguments.person.clone(), |words| {
        if let Some(waiting) = waiting {
            waiting.asked(words.to_string());
        }
        shown = if settings.json {
            answer.json(&WordsShown {
                words: words.to_string(),
            })
        } else {
            answer
                .line(format_args!("The words are: {words}"))
                .and_then(|()| {
                    answer.line(
                        "Read them out. They must be the same on the screen of who admits you.",
                    )
                })
        };
    })
    .await?;
    shown?;
    if settings.json {
        answer.json(&Joined {
            job: job.to_string(),
        })?;
    } else if waiting.is_some() {
        answer.line(format_args!("Admitted to job {job}."))?;
    } else {
        answer.line(format_args!(
            "Admitted to job {job}. Run it with `gantline node`."
        ))?;
    }
    Ok(job)
}

/// Runs the device's node, and sends the page that waits to the node's own.
async fn work(
    settings: &Settings,
    home: &Home,
    job: JobId,
    waiting: Waiting,
) -> Result<Exit, Problem> {
    let config = NodeConfig {
        home: home.clone(),
        job: Some(job),
        listen: None,
        discovery: true,
        control_port: 0,
        known: Vec::new(),
        allow_faults: false,
    };
    let own = home.clone();
    let started = async move |node: NodeHandle| {
        waiting.hand_over(&node).await;
        let link = tokio::task::spawn_blocking(move || Client::open(&own)?.page_link()).await;
        // Without a link the page stays as it is: `gantline page` prints another one.
        if let Ok(Ok(link)) = link {
            waiting.admitted(link.link);
            tokio::spawn(async move { waiting.told(TOLD_WITHIN).await });
        }
    };
    node::serve(settings, config, true, started).await
}
