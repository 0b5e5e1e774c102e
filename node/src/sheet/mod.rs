//! Sheet: the limit sheet for people: text, and a page with drawings that prints on two sides.
//! In reading order: `text` · `page` the frame and the tables · `draw` the pictures · `why` there is no number.
//!
//! Nothing here computes a limit: values, sources and cautions come from `protocol::limits::sheet`.

mod draw;
mod page;
mod text;
mod why;

pub use page::{body, page};
pub use text::text;

use crate::words::{ENGLISH, Language, fill};
use gantline_protocol::plan::{Plan, condition_line};

/// What stands around the values.
#[derive(Clone, Debug)]
pub struct Heading<'a> {
    /// The job.
    pub title: &'a str,
    /// The line and the structure.
    pub place: String,
    /// Units of the job.
    pub units: gantline_protocol::plan::Units,
    /// The plan's own cautions, shown after the usual ones.
    pub cautions: &'a [String],
    /// What is watched while the work goes on, with its times: weather, line order, people in place.
    pub watched: Vec<String>,
    /// In which language all of it is said but the plan's own text and sources.
    pub language: &'static Language,
}

impl<'a> Heading<'a> {
    /// Of a plan, in English.
    #[must_use]
    pub fn of(plan: &'a Plan) -> Self {
        Self::in_language(plan, &ENGLISH)
    }

    /// A piece of the sheet, by its English words.
    #[must_use]
    pub fn say<'t>(&self, english: &'t str) -> &'t str {
        self.language.on_sheet(english)
    }

    /// An input that is to be added to the plan: by the name that it has there, and what that is.
    #[must_use]
    pub fn asked_for(&self, name: &str) -> String {
        match self.say(name) {
            said if said == name => name.to_owned(),
            said => format!("{name} ({said})"),
        }
    }

    /// Of a plan; what is watched stays in English.
    #[must_use]
    pub fn in_language(plan: &'a Plan, language: &'static Language) -> Self {
        let line = &plan.line;
        let place = "{line}, {kv} kV, circuit {circuit}, phase {phase}, structure {structure}";
        let values = [
            ("line", line.name.as_str()),
            ("kv", &*line.voltage_kv.to_string()),
            ("circuit", &line.circuit),
            ("phase", &line.phase),
            ("structure", &line.structure),
        ];
        let conditions = plan.conditions.iter();
        Self {
            title: &plan.title,
            place: fill(language.on_sheet(place), &values),
            language,
            units: plan.units,
            cautions: &plan.cautions,
            watched: conditions
                .map(|condition| condition_line(plan, condition))
                .collect(),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use gantline_protocol::limits::known::KNOWN;
    use gantline_protocol::limits::sheet::{CAUTIONS, Gapped};
    use gantline_protocol::plan::{builtin, limit_sheet};

    #[test]
    fn text_and_page_carry_every_value_its_source_the_cautions_and_what_is_watched() {
        for ships in builtin() {
            let plan = ships.plan().unwrap();
            let sheet = limit_sheet(&plan);
            let heading = Heading::of(&plan);
            // A terminal's lines are broken anywhere; a page's marks are not its words.
            let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            let unmarked = |page: &str| page.replace("&amp;", "&").replace("&quot;", "\"");
            let text = plain(&text(&sheet, &heading));
            let page = plain(&unmarked(&page(&sheet, &heading)));
            let lines = sheet.lines.iter();
            let said = lines.flat_map(|line| [line.title, line.source]);
            let said = said.chain(CAUTIONS.iter().copied());
            let watched = heading.watched.iter().map(String::as_str);
            for said in said.chain(watched) {
                assert!(text.contains(said), "{}: text lacks `{said}`", ships.name);
                assert!(page.contains(said), "{}: page lacks `{said}`", ships.name);
            }
            assert!(text.contains("thunder"), "{}", ships.name);
            assert!(text.contains("good for 30 min"), "{}", ships.name);
        }
    }

    #[test]
    fn every_word_of_a_sheet_that_ships_is_said_in_every_language() {
        use crate::words::ALL;
        for ships in builtin() {
            let plan = ships.plan().unwrap();
            let sheet = limit_sheet(&plan);
            let lines = sheet.lines.iter();
            let own = lines.flat_map(|line| core::iter::once(&line.title).chain(&line.cautions));
            let named = KNOWN.iter().flat_map(|input| [input.part, input.name]);
            let own: Vec<&str> = own.chain(CAUTIONS).copied().chain(named).collect();
            for language in &ALL[1..] {
                for words in &own {
                    let known = language.sheet.iter().any(|(english, _)| english == words);
                    assert!(known, "{}: {words}", language.code);
                }
                let drawn = body(&sheet, &Heading::in_language(&plan, language)).into_string();
                for (english, said) in language
                    .sheet
                    .iter()
                    .filter(|(english, _)| english.len() > 12)
                {
                    let outside = english.split('{').next().unwrap_or_default();
                    assert!(
                        outside.len() < 12 || !drawn.contains(outside),
                        "{}: {english} and not {said}",
                        language.code
                    );
                }
            }
        }
    }

    #[test]
    fn what_is_to_be_added_is_named_as_in_the_plan_and_said_in_the_language() {
        let plan = builtin()[0].plan().unwrap();
        let mut sheet = limit_sheet(&plan);
        sheet.gaps.push(Gapped {
            part: "poles",
            missing: vec!["span_back".to_owned()],
            why: None,
        });
        let said = |language| {
            let heading = Heading::in_language(&plan, language);
            body(&sheet, &heading).into_string()
        };
        assert!(
            said(&crate::words::SPANISH).contains(
                "pértigas. </strong>Añada a los datos del plan: span_back (vano de atrás)."
            )
        );
        assert!(said(&ENGLISH).contains("poles. </strong>Add to the plan's data: span_back."));
    }
}
