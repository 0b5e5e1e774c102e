//! Named: the entries and devices that a body names.
//! Owns: nothing.   Gives: each name, in the order of the encoding.
//! May use: entry, ids.   Never: whether what is named exists (graph).

use crate::ids::{DeviceKey, DeviceTag, EntryHash};
use crate::log::entry::{Body, Evidence, NoteKind, Offered, StopKind};

/// A name in a body.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Named<'a> {
    /// Another entry.
    Entry(&'a EntryHash),
    /// A device by its key.
    Device(&'a DeviceKey),
    /// A device by its tag.
    Tag(&'a DeviceTag),
}

impl Body {
    /// Calls `see` with every entry and device that this body names, in the order of the encoding.
    pub fn each_named<'a>(&'a self, see: &mut dyn FnMut(Named<'a>)) {
        use Named::{Device, Entry, Tag};
        match self {
            Self::Admit(admit) => {
                see(Device(&admit.device));
                admit.replaces.iter().for_each(|key| see(Device(key)));
            }
            Self::Acknowledge(ack) => evidence(&ack.evidence, see),
            Self::Withdraw(withdraw) => see(Entry(&withdraw.entry)),
            Self::Stop(stop) => {
                if let StopKind::Stranger { key, .. } = &stop.kind {
                    see(Device(key));
                }
            }
            Self::Heard(heard) => see(Entry(&heard.stop)),
            Self::Ask(ask) => ask.stops.iter().for_each(|stop| see(Entry(stop))),
            Self::Agree(agree) => see(Entry(&agree.to)),
            Self::Decline(decline) => see(Entry(&decline.to)),
            Self::Release(release) => {
                see(Entry(&release.ask));
                evidence(&release.evidence, see);
            }
            Self::Offer(offer) => {
                if let Offered::Role { from, .. } = &offer.what {
                    see(Device(from));
                }
                offer.to.iter().for_each(|key| see(Device(key)));
            }
            Self::Ready(ready) => see(Entry(&ready.offer)),
            Self::Take(named) | Self::Done(named) => see(Entry(&named.offer)),
            Self::Propose(propose) => {
                see(Device(&propose.device));
                propose.known.iter().for_each(|(tag, _)| see(Tag(tag)));
            }
            Self::Consent(named) => see(Entry(&named.proposal)),
            Self::Seal(seal) => {
                see(Entry(&seal.proposal));
                seal.consents.iter().for_each(|consent| see(Entry(consent)));
            }
            Self::Exception(exception) => evidence(&exception.evidence, see),
            Self::Correction(correction) => see(Entry(&correction.entry)),
            Self::ExitPlan(exit) => exit.stops.iter().for_each(|stop| see(Entry(stop))),
            Self::Note(note) => {
                note.about.iter().for_each(|about| see(Entry(about)));
                if let NoteKind::Mute { key } = &note.kind {
                    see(Device(key));
                }
            }
            Self::ClockSample(sample) => see(Tag(&sample.device)),
            Self::Suspend(suspend) => suspend.heads.iter().for_each(|heads| see(Entry(heads))),
            Self::ResumeDay(day) => see(Entry(&day.suspend)),
            Self::Close(close) => evidence(&close.evidence, see),
            Self::Void(void) => see(Entry(&void.entry)),
            Self::Found(_)
            | Self::Accept
            | Self::Leave
            | Self::Briefed(_)
            | Self::Cannot(_)
            | Self::Reading(_)
            | Self::Affirm(_)
            | Self::Away(_)
            | Self::StepBack(_)
            | Self::Amend(_)
            | Self::MakeSafe(_)
            | Self::HeadCount(_)
            | Self::Identity(_)
            | Self::Scan(_)
            | Self::Moved(_)
            | Self::OrderStatus(_)
            | Self::Unknown { .. } => {}
        }
    }
}

fn evidence<'a>(evidence: &'a Evidence, see: &mut dyn FnMut(Named<'a>)) {
    for proof in &evidence.proofs {
        see(Named::Tag(&proof.device));
        for (tag, _) in &proof.behind {
            see(Named::Tag(tag));
        }
    }
    for condition in &evidence.conditions {
        see(Named::Entry(&condition.entry));
    }
}
