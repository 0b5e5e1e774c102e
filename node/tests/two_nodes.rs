//! Two real nodes over QUIC on loopback: onto the job, a confirmation, a stop and its sound, a resume, a restart.
//! Owns: nothing.   Gives: nothing.
//! May use: support.   Never: a fixed sleep.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod support;

use gantline::device::{CannotStart, Node, Request, sound_stops};
use gantline::store::StoreFault;
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{CheckId, StepId};
use gantline_protocol::log::entry::{Said, StopKind};
use gantline_protocol::state::{AskedOf, CallWord, StepState};
use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;
use std::time::{Duration, Instant};
use support::{Crew, WITHIN, config, counts, recorded, shows};

fn acknowledge() -> Command {
    Command::Acknowledge {
        step: StepId::try_from("look").unwrap(),
        check: CheckId::try_from("clear").unwrap(),
        said: Said::Yes,
        change: None,
        held_ms: None,
    }
}

fn stop() -> Command {
    Command::Stop {
        kind: StopKind::Work,
        why: "somebody walks below".to_owned(),
        item: None,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_sounds_from_the_machine_itself_while_no_page_lives() {
    let crew = Crew::at_work().await;
    crew.all_show(CallWord::Proceed).await;
    let player = crew.folder.path().join("aplay");
    std::fs::write(&player, "#!/bin/sh\ncp \"$2\" \"$0.played\"\n").unwrap();
    std::fs::set_permissions(&player, Permissions::from_mode(0o700)).unwrap();
    let played = crew.folder.path().join("aplay.played");
    let node = crew.supervisor().handle();
    tokio::spawn(sound_stops(
        node.clone(),
        crew.folder.path().to_owned(),
        Some(crew.folder.path().as_os_str().to_owned()),
    ));
    // A page lives for a second and a half of the stop: it sounds by itself.
    node.tell(Request::PageAlive).await.unwrap();
    recorded(crew.observer(), stop()).await;
    shows(&node, "the stop", |status| {
        status.call.word == CallWord::StopWork
    })
    .await;
    for _ in 0..15 {
        node.tell(Request::PageAlive).await.unwrap();
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(!played.exists(), "twice at once");
    let end = Instant::now() + WITHIN;
    while !played.exists() {
        assert!(Instant::now() < end, "no sound without a page");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_job_from_founding_over_a_stop_and_a_resume_to_the_next_step() {
    let crew = Crew::at_work().await;
    crew.all_show(CallWord::Proceed).await;

    // A stop reaches the other device; nobody proceeds until all have agreed.
    let pressed = crew.observer().handle().act(stop()).await.unwrap();
    let entry = counts(&pressed);
    crew.all_show(CallWord::StopWork).await;
    let refused = crew.observer().handle().act(acknowledge()).await.unwrap();
    let not_counted = match &refused {
        Outcome::Refused { reasons } | Outcome::Recorded { reasons, .. } => !reasons.is_empty(),
        Outcome::AlreadySo => false,
    };
    assert!(not_counted, "in a stop nothing opens: {refused:?}");
    // Shown by its datagram at once; asked about when it is in the log.
    shows(&crew.supervisor().handle(), "asked to hear it", |status| {
        status
            .asked
            .iter()
            .any(|asked| matches!(asked, AskedOf::Heard { stop } if *stop == entry))
    })
    .await;
    recorded(crew.supervisor(), Command::Heard { stop: None }).await;
    recorded(
        crew.supervisor(),
        Command::Ask {
            stops: vec![entry],
            cause: "somebody walked below, and has left".to_owned(),
            open_item: None,
            closes_item: None,
        },
    )
    .await;
    shows(&crew.observer().handle(), "the ask is there", |status| {
        status.stops.iter().any(|stop| stop.ask.is_some())
    })
    .await;
    recorded(crew.observer(), Command::Agree { to: None }).await;
    crew.all_show(CallWord::Proceed).await;

    recorded(crew.observer(), acknowledge()).await;
    for node in &crew.nodes {
        shows(&node.handle(), "the step is done", |status| {
            status.steps[0].state == StepState::Done
        })
        .await;
    }

    // Equal sets of entries, and each journal is the whole log.
    let digest = crew.supervisor().handle().status().await.unwrap().digest;
    shows(&crew.observer().handle(), "equal logs", |status| {
        status.digest == digest
    })
    .await;
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_node_that_is_started_again_has_all_that_it_showed() {
    let mut crew = Crew::at_work().await;
    crew.all_show(CallWord::Proceed).await;
    let entry = recorded(crew.observer(), acknowledge()).await;
    let before = crew.observer().handle().status().await.unwrap();
    crew.nodes.remove(1).stop().await.unwrap();

    let again = Node::start(config(&crew.homes[1], &[])).await.unwrap();
    assert_eq!(again.findings(), []);
    let after = again.handle().status().await.unwrap();
    assert!(after.entries >= before.entries);
    assert_eq!(after.steps[0].state, StepState::Done);
    assert!(
        after.steps[0].checks[0]
            .given
            .iter()
            .any(|given| given.entry == entry)
    );
    // The address of the other is remembered: nobody gave it this time.
    crew.nodes.push(again);
    crew.all_show(CallWord::Proceed).await;
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_node_on_the_same_folder_is_refused_by_name() {
    let crew = Crew::at_work().await;
    let refused = Node::start(config(&crew.homes[0], &[])).await.err();
    match refused {
        Some(CannotStart::Store(StoreFault::Locked { path, process })) => {
            assert_eq!(path, crew.homes[0].folder());
            assert_eq!(process, Some(std::process::id()));
        }
        other => panic!("{other:?}"),
    }
    crew.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_that_is_cut_off_goes_into_hold_and_comes_back() {
    let crew = Crew::at_work().await;
    crew.all_show(CallWord::Proceed).await;
    assert!(crew.observer().handle().deaf(true).await.unwrap());
    crew.all_show(CallWord::Hold).await;
    // A stop pressed while cut off is shown at once on its own device.
    counts(&crew.observer().handle().act(stop()).await.unwrap());
    shows(&crew.observer().handle(), "its own stop", |status| {
        status.call.word == CallWord::StopWork
    })
    .await;
    crew.observer().handle().deaf(false).await.unwrap();
    crew.all_show(CallWord::StopWork).await;
    crew.stop().await;
}
