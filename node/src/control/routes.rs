//! Routes: what can be asked of the node, and in what form.
//! Owns: paths and bodies.   Gives: `all`.
//! May use: device::request, error, guard, follow.   Never: what a command means.

use crate::control::guard::{self, Guard};
use crate::control::{Refusal, Shared, follow, photos};
use crate::device::{Health, JoinRequest, Request};
use crate::pages;
use axum::Json;
use axum::Router;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use gantline_protocol::engine::{Command, Outcome};
use gantline_protocol::ids::{DeviceKey, Person, RoleId};
use gantline_protocol::log::entry::NoteKind;
use gantline_protocol::state::Status;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::net::SocketAddr;

/// Longest body: an act with the longest texts and lists of changes fits many times.
pub(crate) const BODY_MAX_BYTES: usize = 64 * 1024;

const KNOWN: &str = "POST /api/act, GET /api/status, GET /api/follow, GET /api/log, POST /api/photo, \
    GET /api/photo/HASH, GET /api/joins, \
    POST /api/admit, POST /api/refuse, POST /api/address, GET /api/health, POST /api/page, POST /api/page/closed, \
    POST /api/page/link, POST /api/shutdown";

/// Admits a device that asked to join.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Admission {
    /// Which.
    pub device: DeviceKey,
    /// Its holder.
    pub person: Person,
    /// In which roles.
    pub roles: Vec<RoleId>,
    /// The same person's device that it replaces.
    #[serde(default)]
    pub replaces: Option<DeviceKey>,
}

/// Says no to a device that asked to join.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct RefusedJoin {
    /// Which.
    pub device: DeviceKey,
    /// Why; it is told.
    pub why: String,
}

/// An address of a device, given by a person.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct KnownAddress {
    /// Which.
    pub device: DeviceKey,
    /// Where it is.
    pub address: SocketAddr,
}

/// For tests: what goes wrong on a node that was started for it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Fault {
    /// It hears and reaches nobody.
    pub deaf: bool,
}

/// All routes, guarded.
pub(crate) fn all(shared: Shared, guard: Guard) -> Router {
    Router::new()
        .route("/api/act", post(act))
        .route("/api/status", get(status))
        .route("/api/follow", get(follow::status))
        .route("/api/log", get(follow::log))
        .route("/api/photo", post(photos::put).layer(photos::limit()))
        .route("/api/photo/{hash}", get(photos::get))
        .route("/api/joins", get(joins))
        .route("/api/admit", post(admit))
        .route("/api/refuse", post(refuse))
        .route("/api/address", post(address))
        .route("/api/health", get(health))
        .route("/api/fault", post(fault))
        .route("/api/page", post(page_alive))
        .route("/api/page/closed", post(page_closed))
        .route("/api/page/link", post(pages::link))
        .route("/api/shutdown", post(shutdown))
        .merge(pages::routes())
        .fallback(async || Refusal::Path {
            known: KNOWN.to_owned(),
        })
        .method_not_allowed_fallback(async || Refusal::Method)
        .layer(DefaultBodyLimit::max(BODY_MAX_BYTES))
        .layer(axum::middleware::from_fn_with_state(guard, guard::check))
        .with_state(shared)
}

pub(super) type Body = Result<Bytes, BytesRejection>;

fn read<T: DeserializeOwned>(body: Body) -> Result<T, Refusal> {
    let bytes = body.map_err(|rejection| {
        if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE {
            Refusal::TooLong {
                most: BODY_MAX_BYTES,
            }
        } else {
            Refusal::Body
        }
    })?;
    serde_json::from_slice(&bytes).map_err(|error| Refusal::Form {
        why: error.to_string(),
    })
}

async fn act(State(shared): State<Shared>, body: Body) -> Result<Json<Outcome>, Refusal> {
    let command: Command = read(body)?;
    if let Command::Note {
        kind: NoteKind::Photo(photo),
        ..
    } = &command
    {
        photos::must_be_kept(&shared, photo).await?;
    }
    Ok(Json(shared.node.act(command).await?))
}

async fn status(State(shared): State<Shared>) -> Result<Json<Status>, Refusal> {
    Ok(Json(*shared.node.status().await?))
}

async fn joins(State(shared): State<Shared>) -> Result<Json<Vec<JoinRequest>>, Refusal> {
    Ok(Json(shared.node.joins().await?))
}

async fn admit(State(shared): State<Shared>, body: Body) -> Result<Json<Outcome>, Refusal> {
    let admission: Admission = read(body)?;
    let command = Command::Admit {
        device: admission.device,
        person: admission.person,
        roles: admission.roles,
        replaces: admission.replaces,
    };
    Ok(Json(shared.node.act(command).await?))
}

async fn refuse(State(shared): State<Shared>, body: Body) -> Result<Response, Refusal> {
    let refused: RefusedJoin = read(body)?;
    if shared.node.refuse_join(refused.device, refused.why).await? {
        Ok(done())
    } else {
        Err(Refusal::NotAsked)
    }
}

async fn address(State(shared): State<Shared>, body: Body) -> Result<Response, Refusal> {
    let KnownAddress { device, address } = read(body)?;
    shared
        .node
        .tell(Request::KnownAddress { device, address })
        .await?;
    Ok(done())
}

async fn health(State(shared): State<Shared>) -> Result<Json<Health>, Refusal> {
    Ok(Json(*shared.node.health().await?))
}

async fn fault(State(shared): State<Shared>, body: Body) -> Result<Response, Refusal> {
    let Fault { deaf } = read(body)?;
    if shared.node.deaf(deaf).await? {
        Ok(done())
    } else {
        Err(Refusal::NoFaults)
    }
}

async fn page_alive(State(shared): State<Shared>) -> Result<Response, Refusal> {
    shared.node.tell(Request::PageAlive).await?;
    Ok(done())
}

async fn page_closed(State(shared): State<Shared>) -> Result<Response, Refusal> {
    shared.node.tell(Request::PageClosed).await?;
    Ok(done())
}

async fn shutdown(State(shared): State<Shared>) -> Result<Response, Refusal> {
    shared.node.tell(Request::Shutdown).await?;
    Ok(done())
}

fn done() -> Response {
    ([(CONTENT_TYPE, "application/json")], "{}").into_response()
}
