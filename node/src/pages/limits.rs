//! Limits: the limit sheet of the job's plan, as a page that is read.
//! Owns: nothing.   Gives: `content`.
//! May use: sheet, view.   Never: a formula.

use crate::pages::view::View;
use crate::sheet::{Heading, body};
use gantline_protocol::plan::limit_sheet;
use maud::{Markup, html};

/// The sheet.
pub(crate) fn content(view: &View) -> Markup {
    let sheet = limit_sheet(view.plan);
    html! { div class="sheet-of-limits" lang="en" { (body(&sheet, &Heading::of(view.plan))) } }
}
