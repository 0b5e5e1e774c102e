//! Sheet: the limit sheet for people: text, and a page with drawings that prints on two sides.
//! In reading order: `text` · `page` the frame and the tables · `draw` the pictures.
//!
//! Nothing here computes a limit: values, sources and cautions come from `protocol::limits::sheet`.

mod draw;
mod page;
mod text;

pub use page::{body, page};
pub use text::text;

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
}

impl<'a> Heading<'a> {
    /// Of a plan.
    #[must_use]
    pub fn of(plan: &'a Plan) -> Self {
        let line = &plan.line;
        let conditions = plan.conditions.iter();
        Self {
            title: &plan.title,
            place: format!(
                "{}, {} kV, circuit {}, phase {}, structure {}",
                line.name, line.voltage_kv, line.circuit, line.phase, line.structure
            ),
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
    use gantline_protocol::limits::sheet::CAUTIONS;
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
}
