//! Ids: every thing the job names has a type of its own, so a step cannot be passed for a check.
//! Owns: nothing.   Gives: keys, hashes, tags and checked names.
//! May use: nothing of this crate.   Never: what the names mean (plan, log).

use core::fmt;
use serde::de::Visitor;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use smol_str::SmolStr;

/// Writes bytes as lowercase hexadecimal.
fn hex(bytes: &[u8], f: &mut fmt::Formatter<'_>) -> fmt::Result {
    bytes.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
}

/// Reads exactly `N` bytes from lowercase or uppercase hexadecimal; `None` for anything else.
fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digits = text.as_bytes();
    if digits.len() != 2 * N {
        return None;
    }
    let mut bytes = [0_u8; N];
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
        let high = char::from(pair[0]).to_digit(16)?;
        let low = char::from(pair[1]).to_digit(16)?;
        *byte = u8::try_from(high * 16 + low).ok()?;
    }
    Some(bytes)
}

macro_rules! bytes_id {
    ($(#[$doc:meta])* $name:ident, $len:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy)]
        pub struct $name(pub [u8; $len]);

        impl $name {
            /// The first eight bytes, in the order of the bytes: they nearly always decide a comparison, without
            /// a call.
            #[inline]
            fn first(&self) -> u64 {
                self.0.first_chunk::<8>().map_or(0, |first| u64::from_be_bytes(*first))
            }
        }

        impl PartialEq for $name {
            #[inline]
            fn eq(&self, other: &Self) -> bool {
                self.first() == other.first() && self.0 == other.0
            }
        }

        impl Eq for $name {}

        impl core::hash::Hash for $name {
            fn hash<H: core::hash::Hasher>(&self, state: &mut H) {
                self.0.hash(state);
            }
        }

        impl PartialOrd for $name {
            #[inline]
            fn partial_cmp(&self, other: &Self) -> Option<core::cmp::Ordering> {
                Some(self.cmp(other))
            }
        }

        impl Ord for $name {
            #[inline]
            fn cmp(&self, other: &Self) -> core::cmp::Ordering {
                // After equal first bytes nearly always all are equal, which again takes no call to see.
                self.first().cmp(&other.first()).then_with(|| {
                    if self.0 == other.0 {
                        core::cmp::Ordering::Equal
                    } else {
                        self.0.cmp(&other.0)
                    }
                })
            }
        }

        // Bytes in the log, hexadecimal wherever people or scripts read: a list of numbers names nothing.
        impl Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                if to.is_human_readable() {
                    to.collect_str(self)
                } else {
                    self.0.serialize(to)
                }
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                if from.is_human_readable() {
                    String::deserialize(from)?.parse().map_err(serde::de::Error::custom)
                } else {
                    <[u8; $len]>::deserialize(from).map(Self)
                }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                hex(&self.0, f)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, concat!(stringify!($name), "("))?;
                hex(&self.0[..4], f)?;
                f.write_str("…)")
            }
        }

        impl core::str::FromStr for $name {
            type Err = BadId;
            fn from_str(text: &str) -> Result<Self, BadId> {
                unhex(text).map(Self).ok_or_else(|| BadId::Hex { found: text.to_owned(), bytes: $len })
            }
        }
    };
}

bytes_id!(
    /// A device: its Ed25519 public key.
    DeviceKey,
    32
);
bytes_id!(
    /// The BLAKE3 hash of an entry's signed content: its id, and how other entries point to it.
    EntryHash,
    32
);
bytes_id!(
    /// A job: the hash of its founding entry.
    JobId,
    32
);
bytes_id!(
    /// A photo: the BLAKE3 hash of its bytes. A note names it; the bytes travel behind the entries.
    PhotoHash,
    32
);
bytes_id!(
    /// The first eight bytes of a device key. Admission refuses a key whose tag is already taken on
    /// the job, so within one roster a tag names one device; used where 32 bytes would not fit.
    DeviceTag,
    8
);

impl EntryHash {
    /// The predecessor of an author's first entry.
    pub const NONE: Self = Self([0; 32]);
}

impl PhotoHash {
    /// The hash of these bytes. Plain BLAKE3, so that anybody's tool finds the same.
    #[must_use]
    pub fn of(content: &[u8]) -> Self {
        Self(*blake3::hash(content).as_bytes())
    }
}

impl JobId {
    /// The job of a founding entry, whose own hash becomes the id.
    pub const UNFOUNDED: Self = Self([0; 32]);
}

impl From<EntryHash> for JobId {
    fn from(founding: EntryHash) -> Self {
        Self(founding.0)
    }
}

impl DeviceKey {
    /// The short form of this key.
    #[must_use]
    pub fn tag(&self) -> DeviceTag {
        let mut tag = [0; 8];
        tag.copy_from_slice(&self.0[..8]);
        DeviceTag(tag)
    }
}

/// Drawn at random at each start of a node (64 bits); beacon counters belong to it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub struct BootId(pub u64);

/// A text that is not an id.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum BadId {
    /// Not hexadecimal of the right length.
    #[error("found `{found}`, expected {} hexadecimal digits", 2 * bytes)]
    Hex {
        /// What was given.
        found: String,
        /// How many bytes the id has.
        bytes: usize,
    },
    /// A name with a character, or of a length, that names cannot have.
    #[error(
        "found `{found}`, expected a name of 1 to 40 letters, digits, `_` or `-`, a letter or digit first"
    )]
    Name {
        /// What was given.
        found: String,
    },
    /// A call sign with a character, or of a length, that call signs cannot have.
    #[error(
        "found `{found}`, expected a call sign of 1 to 24 characters without control characters or spaces at the ends"
    )]
    CallSign {
        /// What was given.
        found: String,
    },
}

macro_rules! name_id {
    ($(#[$doc:meta])* $name:ident, $good:path, $bad:ident) => {
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(SmolStr);

        impl $name {
            /// The name as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl TryFrom<&str> for $name {
            type Error = BadId;
            fn try_from(text: &str) -> Result<Self, BadId> {
                if $good(text) {
                    Ok(Self(text.into()))
                } else {
                    Err(BadId::$bad { found: text.to_owned() })
                }
            }
        }

        impl TryFrom<String> for $name {
            type Error = BadId;
            fn try_from(text: String) -> Result<Self, BadId> {
                Self::try_from(text.as_str())
            }
        }

        impl core::str::FromStr for $name {
            type Err = BadId;
            fn from_str(text: &str) -> Result<Self, BadId> {
                Self::try_from(text)
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> Self {
                name.0.into()
            }
        }

        // By hand: a name is read and written without a string in between, many times an entry.
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.serialize_str(&self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                struct Text;

                impl Visitor<'_> for Text {
                    type Value = $name;

                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str("a name")
                    }

                    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<$name, E> {
                        $name::try_from(text).map_err(E::custom)
                    }
                }

                from.deserialize_str(Text)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{:?}", self.0)
            }
        }
    };
}

fn is_name(text: &str) -> bool {
    let first_good = text
        .bytes()
        .next()
        .is_some_and(|b| b.is_ascii_alphanumeric());
    first_good
        && text.len() <= 40
        && text
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b'-')
}

fn is_call_sign(text: &str) -> bool {
    (1..=24).contains(&text.chars().count())
        && text.trim() == text
        && !text.chars().any(char::is_control)
}

name_id!(
    /// A step of the plan.
    StepId, is_name, Name
);
name_id!(
    /// A check of a step; unique within its step.
    CheckId, is_name, Name
);
name_id!(
    /// A role: tower, ground, observer, supervisor, or another that the plan names.
    RoleId, is_name, Name
);
name_id!(
    /// A tool, line, ground, sling, pole or load.
    ItemId, is_name, Name
);
name_id!(
    /// A standing condition.
    ConditionId, is_name, Name
);
name_id!(
    /// A limit that checks refer to.
    LimitId, is_name, Name
);
name_id!(
    /// A mark that step completion sets.
    MarkId, is_name, Name
);
name_id!(
    /// One value that a mark can have.
    MarkState, is_name, Name
);
name_id!(
    /// A handoff that people name on the radio.
    HandoffId, is_name, Name
);
name_id!(
    /// A person, by call sign; the log knows no other names.
    Person, is_call_sign, CallSign
);

impl RoleId {
    /// The role that plans the job and answers for it.
    pub const SUPERVISOR: &'static str = "supervisor";
    /// The role that only watches.
    pub const OBSERVER: &'static str = "observer";

    /// Whether this is the supervisor's role, which passes only by handover or takeover.
    #[must_use]
    pub fn is_supervisor(&self) -> bool {
        self.as_str() == Self::SUPERVISOR
    }

    /// Whether this is the observer's role, without which nobody's acknowledgement counts.
    #[must_use]
    pub fn is_observer(&self) -> bool {
        self.as_str() == Self::OBSERVER
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_checked_when_decoded() {
        for bad in ["", "-x", "a b", "ä", &"x".repeat(41)] {
            assert!(StepId::try_from(bad).is_err(), "{bad:?} passed");
            let bytes = postcard::to_stdvec(bad).unwrap_or_default();
            assert!(
                postcard::from_bytes::<StepId>(&bytes).is_err(),
                "{bad:?} decoded"
            );
        }
        assert!(StepId::try_from("P08-a_1").is_ok());
    }

    #[test]
    fn keys_are_their_bare_bytes_in_the_log() {
        let key = DeviceKey([9; 32]);
        let bytes = postcard::to_stdvec(&key).unwrap_or_default();
        assert_eq!(bytes, [9; 32]);
        assert_eq!(postcard::from_bytes(&bytes), Ok(key));
    }

    #[test]
    fn hashes_round_trip_as_text() {
        let hash = EntryHash(core::array::from_fn(|i| {
            u8::try_from(i * 7 % 256).unwrap_or(0)
        }));
        assert_eq!(hash.to_string().parse(), Ok(hash));
        assert!("00".parse::<EntryHash>().is_err());
        assert!("zz".repeat(32).parse::<EntryHash>().is_err());
    }
}
