//! Limits: the limit sheet of the job's plan, as a page that is read.
//! Owns: nothing.   Gives: `content`.
//! May use: sheet, view, plan lines.   Never: a formula.

use crate::pages::plan_lines::condition_line;
use crate::pages::view::View;
use crate::sheet::{Heading, body};
use gantline_protocol::plan::limit_sheet;
use maud::{Markup, html};

/// The sheet.
pub(crate) fn content(view: &View) -> Markup {
    let sheet = limit_sheet(view.plan);
    let conditions = view.plan.conditions.iter();
    let heading = Heading {
        watched: conditions.map(|one| condition_line(view, one)).collect(),
        ..Heading::in_language(view.plan, view.language)
    };
    html! { div class="sheet-of-limits" { (body(&sheet, &heading)) } }
}
