//! Error: answers that say no, as values that scripts can match.
//! Owns: nothing.   Gives: `Refusal`, `ControlError`, and what HTTP says for each.
//! May use: axum's response types.   Never: a refusal by the job (that is an `Outcome`, and no error).

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};

/// Why a request was not carried out. Nothing was changed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, thiserror::Error)]
#[serde(tag = "error", rename_all = "snake_case")]
pub enum Refusal {
    /// The token is missing, or is not the one of this start of the node.
    #[error(
        "the token is missing or wrong; it is in the device's control.json, and new at each start of the node"
    )]
    Token,
    /// The request was meant for another host.
    #[error("the request names a host other than the loopback address of this node")]
    Host,
    /// A page of another site asked.
    #[error("the request comes from a page of another site")]
    Origin,
    /// The body is longer than any request.
    #[error("the body is longer than {most} bytes")]
    TooLong {
        /// The most.
        most: usize,
    },
    /// The body could not be read.
    #[error("the body could not be read whole")]
    Body,
    /// The body is not what is expected here.
    #[error("the body is not what is expected here: {why}")]
    Form {
        /// What and where.
        why: String,
    },
    /// There is nothing of that name.
    #[error("there is nothing at this path; what there is: {known}")]
    Path {
        /// What there is.
        known: String,
    },
    /// It is there, but not with this method.
    #[error("this path takes another method")]
    Method,
    /// The device had not asked to join here.
    #[error("this device has not asked to join at this node")]
    NotAsked,
    /// The node was not started for tests.
    #[error("this node was not started so that its links may be cut")]
    NoFaults,
    /// A picture that is not kept.
    #[error("the photo is not kept: {why}")]
    Photo {
        /// Why not.
        why: String,
    },
    /// No note names it, or it is not here yet.
    #[error("there is no such photo here: no note on this job names it, or it has not come yet")]
    NoPhoto,
    /// The node is ending.
    #[error("the node is ending")]
    Ending,
    /// The log cannot be read.
    #[error("the log cannot be read: {why}")]
    Log {
        /// What the system said.
        why: String,
    },
}

/// A refusal with its words, as it goes over the wire.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ControlError {
    /// What.
    #[serde(flatten)]
    pub refusal: Refusal,
    /// In words.
    pub message: String,
}

impl Refusal {
    fn status(&self) -> StatusCode {
        match self {
            Self::Token => StatusCode::UNAUTHORIZED,
            Self::Host => StatusCode::MISDIRECTED_REQUEST,
            Self::Origin | Self::NoFaults => StatusCode::FORBIDDEN,
            Self::TooLong { .. } => StatusCode::PAYLOAD_TOO_LARGE,
            Self::Body | Self::Form { .. } | Self::Photo { .. } => StatusCode::BAD_REQUEST,
            Self::Path { .. } | Self::NotAsked | Self::NoPhoto => StatusCode::NOT_FOUND,
            Self::Method => StatusCode::METHOD_NOT_ALLOWED,
            Self::Ending => StatusCode::SERVICE_UNAVAILABLE,
            Self::Log { .. } => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }
}

impl From<crate::device::NodeEnded> for Refusal {
    fn from(_: crate::device::NodeEnded) -> Self {
        Self::Ending
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let status = self.status();
        let message = self.to_string();
        let error = ControlError {
            refusal: self,
            message,
        };
        (status, axum::Json(error)).into_response()
    }
}
