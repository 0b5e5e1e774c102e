//! Assets: the style and the scripts of the pages, in the program.
//! Owns: their bytes.   Gives: `asset`, `POLICY`.
//! May use: nothing else.   Never: a file of the disk, a font or script from anywhere else.

use crate::control::Refusal;
use crate::pages::enter::Settings;
use axum::extract::Path;
use axum::http::HeaderMap;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// What a page may do: ask its own node, and nothing else.
pub(crate) const POLICY: &str = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; \
    object-src 'none'";

const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

const ALL: [(&str, &str, &str); 24] = [
    ("page.css", CSS, include_str!("assets/page.css")),
    ("wide.css", CSS, include_str!("assets/wide.css")),
    ("work.css", CSS, include_str!("assets/work.css")),
    ("board.css", CSS, include_str!("assets/board.css")),
    ("beside.css", CSS, include_str!("assets/beside.css")),
    ("photo.css", CSS, include_str!("assets/photo.css")),
    ("paper.css", CSS, include_str!("assets/paper.css")),
    ("replay.css", CSS, include_str!("assets/replay.css")),
    ("waiting.css", CSS, include_str!("assets/waiting.css")),
    ("start.css", CSS, include_str!("assets/start.css")),
    ("start.js", SCRIPT, include_str!("assets/start.js")),
    ("twice.js", SCRIPT, include_str!("assets/twice.js")),
    ("page.js", SCRIPT, include_str!("assets/page.js")),
    ("morph.js", SCRIPT, include_str!("assets/morph.js")),
    ("sound.js", SCRIPT, include_str!("assets/sound.js")),
    ("stop.js", SCRIPT, include_str!("assets/stop.js")),
    ("confirm.js", SCRIPT, include_str!("assets/confirm.js")),
    ("sheets.js", SCRIPT, include_str!("assets/sheets.js")),
    ("deed.js", SCRIPT, include_str!("assets/deed.js")),
    ("way.js", SCRIPT, include_str!("assets/way.js")),
    ("waiting.js", SCRIPT, include_str!("assets/waiting.js")),
    ("replay.js", SCRIPT, include_str!("assets/replay.js")),
    ("photo.js", SCRIPT, include_str!("assets/photo.js")),
    ("camera.js", SCRIPT, include_str!("assets/camera.js")),
];

/// One of them, by its name; `size.css` says how large a millimetre is on this browser's screen.
pub(crate) async fn asset(
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    if name == "size.css" {
        let mm = Settings::of(&headers).mm_tenths;
        let size = mm.map_or_else(String::new, |tenths| {
            format!(":root{{--mm:{}.{}px!important}}", tenths / 10, tenths % 10)
        });
        return Ok(answer(CSS, size));
    }
    ALL.iter()
        .find(|(known, ..)| *known == name)
        .map(|(_, kind, text)| answer(kind, (*text).to_owned()))
        .ok_or_else(|| Refusal::Path {
            known: ALL.map(|(name, ..)| name).join(", "),
        })
}

fn answer(kind: &'static str, text: String) -> Response {
    ([(CONTENT_TYPE, kind), (CACHE_CONTROL, "no-cache")], text).into_response()
}
