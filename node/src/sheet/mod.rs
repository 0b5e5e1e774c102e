//! Sheet: the limit sheet for people: text, and a page with drawings that prints on two sides.
//! In reading order: `text` · `page` the frame and the tables · `draw` the pictures.
//!
//! Nothing here computes a limit: values, sources and cautions come from `protocol::limits::sheet`.

mod draw;
mod page;
mod text;

pub use page::page;
pub use text::text;

/// What stands above the values.
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
}
