//! Office: what the supervisor does beside the work, and what is done in a stop, in a browser against real nodes.
//! May use: crew, hand.   Never: the node's own code for what a page can do.

use crate::crew::{Crew, OBSERVER, SUPERVISOR, TOWER_1, TOWER_2};
use crate::hand::{Hand, LONG};
use gantline_protocol::engine::Command;
use gantline_protocol::log::entry::Said;
use gantline_protocol::state::{AskedOf, CallWord, JobState, Status, StepState};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_plan_is_gone_back_in_and_changed_from_the_board() {
    let crew = Crew::at_work().await;
    for (place, check) in [(TOWER_1, "carry"), (TOWER_2, "carry"), (OBSERVER, "seen")] {
        crew.confirms(place, "load", check, Said::Yes).await;
    }
    let done = |status: &Status| status.steps[0].state == StepState::Done;
    crew.shows(SUPERVISOR, "the first step is done", done).await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    hand.browser.size(1280, 800).await;
    // On the board it stands beside More.
    hand.browser.tap("main > .way a[href='/act/back']").await;
    hand.is_on("act/back").await;
    hand.is_told("step-back-", "Still empty: Which step.").await;
    hand.does(
        "step-back-",
        &[("step", "load"), ("text", "A pole slipped back")],
    )
    .await;
    crew.shows(TOWER_1, "the first step is open again", |status| {
        status.steps[0].state == StepState::Open
    })
    .await;
    hand.browser.size(412, 915).await;
    hand.opens("act/amend").await;
    hand.fills(
        "amend-limit-",
        &[("what", "gap"), ("source", "measured on site")],
    )
    .await;
    hand.is_told("amend-limit-", "Still empty: At least.").await;
    hand.fills("amend-limit-", &[("least", "1.7 m")]).await;
    hand.is_told("amend-limit-", "This does not say it: At least.")
        .await;
    hand.browser
        .run("document.querySelector(\"form[data-name='amend-limit-'] [name=least]\").value = ''")
        .await;
    let rest = [("least", "1.7"), ("text", "A new jumper hangs lower")];
    hand.does("amend-limit-", &rest).await;
    crew.all_show(CallWord::Hold).await;
    crew.shows(TOWER_1, "a briefing is asked for", |status| {
        status.plan_version == 1 && !status.briefed
    })
    .await;
    let more = [
        ("what", "load"),
        ("title", "Rope off"),
        ("line", "Rope the drop zone off again"),
        ("if-held", "Stay out of the drop zone"),
        ("check", "The drop zone is roped off"),
        ("role", "ground"),
        ("text", "People walk here"),
    ];
    hand.does("amend-new-step-", &more).await;
    crew.shows(TOWER_1, "the new step", |status| {
        status.steps.iter().any(|step| step.title == "Rope off")
    })
    .await;
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_exception_is_read_before_it_is_agreed_to_or_declined() {
    let crew = Crew::at_work().await;
    let (one, two) = (
        Hand::at(&crew, SUPERVISOR).await,
        Hand::at(&crew, OBSERVER).await,
    );
    one.opens("act/exception").await;
    let done = [
        ("check", "load/carry"),
        ("what", "Both poles were seen to carry"),
        ("text", "The other screen is broken"),
        ("seen-by", "Dogwood"),
    ];
    one.does("exception-", &done).await;
    two.browser
        .until(
            "asked to agree",
            "return document.querySelector('main > .asked .act')?.textContent.includes('I agree to the exception') \
               || !!document.querySelector('main > .row [data-control=other]')",
        )
        .await;
    crew.shows(OBSERVER, "it is asked", |status| {
        let asked = &status.asked;
        asked.iter().any(|one| matches!(one, AskedOf::Agree { .. }))
    })
    .await;
    two.browser.tap("main > .asked [data-control=open]").await;
    two.browser
        .until(
            "what it says",
            "return document.querySelector('.sheet.on .question').textContent.includes('Both poles were seen to carry')",
        )
        .await;
    two.browser.picture("observer-exception").await;
    two.browser.tap(".sheet.on .back").await;
    two.browser.tap("main > .row [data-control=decline]").await;
    two.browser.tap(".sheet.on .r").await;
    crew.shows(OBSERVER, "it is asked no longer", |status| {
        let asked = &status.asked;
        !asked.iter().any(|one| matches!(one, AskedOf::Agree { .. }))
    })
    .await;
    assert!(crew.status(SUPERVISOR).await.steps[0].state != StepState::Done);
    one.end().await;
    two.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_a_stop_things_are_made_safe_and_an_exit_plan_opens_its_steps_only() {
    let crew = Crew::at_work().await;
    crew.stop(OBSERVER, "Lightning").await;
    let (tower, office) = (
        Hand::at(&crew, TOWER_1).await,
        Hand::at(&crew, SUPERVISOR).await,
    );
    tower.browser.shows("stop").await;
    tower.opens("act/safe").await;
    // A stop is answered from here as well.
    tower
        .browser
        .press(".under .asked [data-control=confirm]", LONG, 0)
        .await;
    crew.shows(OBSERVER, "the tower's answer", |status| {
        status.stops[0]
            .heard
            .iter()
            .any(|person| person.as_str() == "Birch")
    })
    .await;
    tower
        .does("safe-", &[("text", "Poles locked"), ("step", "load")])
        .await;
    office.opens("act/exit").await;
    let loads = office
        .browser
        .run("return document.querySelector('main').innerText.match(/no load is handed over.*/)?.[0] ?? ''")
        .await;
    assert!(
        loads.as_str().unwrap().ends_with("in place before: 4."),
        "{loads}"
    );
    office
        .is_told("exit-", "Still empty: Steps that may go on.")
        .await;
    office
        .does(
            "exit-",
            &[
                ("step:load", "1"),
                ("text", "The string must not hang loose"),
            ],
        )
        .await;
    for place in [SUPERVISOR, TOWER_2] {
        crew.must(place, Command::Heard { stop: None }).await;
    }
    tower.back_to_own().await;
    tower
        .browser
        .until(
            "asked to agree",
            "return document.querySelector('main > .asked .act')?.textContent.includes('exit plan') ?? false",
        )
        .await;
    tower.browser.picture("worker-exit-plan").await;
    tower.browser.tap("main > .asked [data-control=open]").await;
    tower
        .browser
        .press(".sheet.on [data-control=confirm]", LONG, 0)
        .await;
    for place in [TOWER_2, OBSERVER] {
        let status = crew.status(place).await;
        let to = status.asked.iter().find_map(|one| match one {
            AskedOf::Agree { to } => Some(*to),
            _ => None,
        });
        crew.must(place, Command::Agree { to }).await;
    }
    crew.shows(TOWER_2, "the exit plan stands", |status| {
        status.job_state == JobState::StopExit
    })
    .await;
    tower.end().await;
    office.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_emergency_is_one_press_and_shows_who_is_where() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, TOWER_1).await;
    hand.opens("act/emergency").await;
    hand.scroll_to("[data-control=emergency]").await;
    hand.browser.tap("[data-control=emergency]").await;
    crew.all_show(CallWord::StopWork).await;
    crew.shows(OBSERVER, "an emergency", |status| {
        status.job_state == JobState::Emergency
    })
    .await;
    hand.browser
        .until(
            "who is where, and since when",
            "const text = document.querySelector('.under')?.innerText ?? '';
             return text.includes('Emergency, ') && text.includes('aloft') && text.includes('not accounted for')",
        )
        .await;
    hand.browser.picture("emergency").await;
    assert_eq!(
        crew.status(OBSERVER).await.stops.len(),
        1,
        "one press, one stop"
    );
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_job_is_suspended_and_a_new_day_begins() {
    let crew = Crew::at_work().await;
    for (place, check) in [(TOWER_1, "carry"), (TOWER_2, "carry"), (OBSERVER, "seen")] {
        crew.confirms(place, "load", check, Said::Yes).await;
    }
    let hand = Hand::at(&crew, SUPERVISOR).await;
    hand.opens("act/heads").await;
    let all = ["Alder", "Birch", "Cedar", "Dogwood"].map(|who| format!("clear:{who}"));
    let all: Vec<(&str, &str)> = all.iter().map(|name| (name.as_str(), "1")).collect();
    hand.does("heads-", &all).await;
    hand.opens("act/day").await;
    hand.is_told("suspend-", "Still empty: Where the job stands.")
        .await;
    let fields = [
        ("state", "load"),
        ("by", "Alder"),
        ("out", "0"),
        ("back", "0"),
    ];
    hand.does("suspend-", &fields).await;
    crew.all_show(CallWord::StopWork).await;
    crew.shows(OBSERVER, "suspended", |status| {
        status.job_state == JobState::Suspended
    })
    .await;
    hand.browser
        .until(
            "a new day can begin",
            "return !!document.querySelector(\"form[data-name='resume-day-']\")",
        )
        .await;
    hand.browser.picture("act-day-suspended").await;
    hand.does("resume-day-", &[]).await;
    crew.shows(OBSERVER, "the second day", |status| {
        status
            .shown
            .iter()
            .any(|(name, words)| name == "days" && words == "2")
    })
    .await;
    hand.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn somebody_is_admitted_after_the_words_are_compared_and_leaves_again() {
    let mut crew = Crew::at_work().await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    let joining = crew.asks_to_join("Elder").await;
    hand.browser
        .until(
            "More says so",
            "return document.querySelector('main > .way .leads').textContent.includes('1 ask to join')",
        )
        .await;
    hand.opens("act/crew").await;
    let words = joining.words.clone();
    hand.browser
        .until(
            "the same words",
            &format!("return document.querySelector('.under').textContent.includes('{words}')"),
        )
        .await;
    hand.browser.picture("act-crew-join").await;
    let form = format!("admit-{}", joining.device);
    hand.is_told(&form, "Still empty: Role.").await;
    hand.does(&form, &[("role:ground", "1")]).await;
    crew.is_on_the_job(joining).await;
    let new = Hand::at(&crew, 4).await;
    new.opens("act/crew").await;
    new.does("leave-", &[]).await;
    crew.shows(SUPERVISOR, "they have left", |status| {
        let mut all = status.crew.iter();
        all.any(|one| one.person.as_str() == "Elder" && !one.present)
    })
    .await;
    hand.end().await;
    new.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lost_device_is_taken_off_by_proposal_and_consent() {
    let crew = Crew::at_work().await;
    let (office, tower) = (
        Hand::at(&crew, SUPERVISOR).await,
        Hand::at(&crew, TOWER_1).await,
    );
    let lost = crew.status(TOWER_2).await.device;
    office.opens("act/crew").await;
    office
        .is_told("remove-", "Still empty: Whose device.")
        .await;
    let fields = [
        ("device", lost.to_string()),
        ("spoken-to", "yes".to_owned()),
    ];
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, value)| (*name, value.as_str()))
        .collect();
    office.does("remove-", &fields).await;
    crew.shows(TOWER_1, "the proposal", |status| {
        status.proposals.len() == 1
    })
    .await;
    tower.opens("act/crew").await;
    let proposal = crew.status(TOWER_1).await.proposals[0].entry;
    tower.does(&format!("consent-{proposal}"), &[]).await;
    crew.must(OBSERVER, Command::Consent { proposal }).await;
    crew.shows(SUPERVISOR, "it is off the job", |status| {
        let mut all = status.crew.iter();
        all.any(|one| one.device == lost && !one.present)
    })
    .await;
    office.end().await;
    tower.end().await;
    crew.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_ask_leaves_something_open_and_a_note_settles_it() {
    let crew = Crew::at_work().await;
    let hand = Hand::at(&crew, SUPERVISOR).await;
    crew.stop(OBSERVER, "Person under the load").await;
    for place in [SUPERVISOR, TOWER_1, TOWER_2] {
        crew.must(place, Command::Heard { stop: None }).await;
    }
    hand.browser.shows("stop").await;
    hand.opens("act/ask").await;
    hand.is_told("ask-", "Still empty: What was the cause")
        .await;
    hand.does(
        "ask-",
        &[
            ("cause", "He has left"),
            ("open-item", "Fence the drop zone"),
        ],
    )
    .await;
    for place in [TOWER_1, TOWER_2, OBSERVER] {
        crew.shows(place, "the ask", |status| {
            status.stops.iter().all(|stop| stop.ask.is_some())
        })
        .await;
        crew.agrees(place).await;
    }
    crew.all_show(CallWord::Proceed).await;
    crew.shows(SUPERVISOR, "what is left open", |status| {
        status.open_items == ["Fence the drop zone"]
    })
    .await;
    hand.opens("act/note").await;
    let form = "closes-item-Fence the drop zone";
    hand.does(form, &[("text", "Fenced on both sides")]).await;
    crew.shows(OBSERVER, "nothing is left open", |status| {
        status.open_items.is_empty()
    })
    .await;
    hand.end().await;
    crew.end().await;
}
