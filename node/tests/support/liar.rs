//! Liar: a device of the crew that does all as it should, but gives other bytes than those of a photo.
//! Owns: its engine and its network, driven without a disk.   Gives: `Liar`.
//! May use: protocol, node's net.   Never: a rule of its own.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline::device::{Clock, Home, boot_id, check_all};
use gantline::net::{self, Net, NetCommand, NetEvent, NetEvents};
use gantline::store::Journal;
use gantline_protocol::bounds::PHOTO_PIECE_BYTES;
use gantline_protocol::engine::{Command, CommandId, Config, Effect, Engine, Input};
use gantline_protocol::ids::{DeviceKey, JobId};
use gantline_protocol::log::sign::verify_batch;
use gantline_protocol::photos::PhotoMessage;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// The device.
pub struct Liar {
    engine: Engine,
    clock: Clock,
    net: Net,
    events: NetEvents,
    gave: Arc<AtomicUsize>,
}

impl Liar {
    /// Takes the place of the stopped node on this folder.
    pub async fn on(home: &Home, job: JobId, peer: (DeviceKey, SocketAddr)) -> Self {
        let key = home.device().unwrap().signing_key();
        let opened = Journal::open(&home.job_folder(&job)).unwrap();
        let (entries, _) = check_all(&opened.entries);
        let mut clock = Clock::default();
        let config = Config {
            key,
            boot: boot_id().unwrap(),
            journal_damaged: false,
        };
        let (engine, first) = Engine::open(config, entries, clock.now()).unwrap();
        let (net, events) = Net::start(net::Config {
            key,
            job: Some(job),
            listen: Some(SocketAddr::from((Ipv4Addr::LOCALHOST, 0))),
            discovery: false,
        })
        .await
        .unwrap();
        net.command(NetCommand::KnownAddresses(peer.0, vec![peer.1]));
        let mut liar = Self {
            engine,
            clock,
            net,
            events,
            gave: Arc::default(),
        };
        liar.carry_out(first);
        liar
    }

    /// How many pieces it gave.
    pub fn gave(&self) -> Arc<AtomicUsize> {
        Arc::clone(&self.gave)
    }

    /// Says something as soon as it may, and goes on for ever.
    pub async fn says(mut self, command: Command) {
        let mut id = 0;
        let mut is_said = false;
        loop {
            tokio::select! {
                event = self.events.next() => match event {
                    Some(event) => self.event(event),
                    None => return,
                },
                () = tokio::time::sleep(Duration::from_millis(20)) => self.input(Input::Tick),
            }
            if !is_said {
                id += 1;
                let before = self.engine.job().graph().len();
                let id = CommandId(id);
                let command = command.clone();
                self.input(Input::Command { id, command });
                is_said = self.engine.job().graph().len() > before;
            }
        }
    }

    fn event(&mut self, event: NetEvent) {
        match event {
            NetEvent::Up(peer) => self.input(Input::Up { peer }),
            NetEvent::Down(peer) => self.input(Input::Down { peer }),
            NetEvent::Datagram { from, bytes } => self.input(Input::Datagram { from, bytes }),
            NetEvent::Message { from, bytes } => self.input(Input::Message { from, bytes }),
            NetEvent::Behind { from, bytes } => self.lies(from, &bytes),
            _ => {}
        }
    }

    fn lies(&self, to: DeviceKey, bytes: &[u8]) {
        let Ok(PhotoMessage::Ask(ask)) = PhotoMessage::decode(bytes) else {
            return;
        };
        self.gave.fetch_add(1, Ordering::Relaxed);
        let length = (ask.bytes - ask.offset).min(PHOTO_PIECE_BYTES) as usize;
        let piece = PhotoMessage::Piece {
            hash: ask.hash,
            offset: ask.offset,
            content: vec![0x55; length],
        };
        let bytes = piece.encode();
        self.net.command(NetCommand::Behind { to, bytes });
    }

    fn input(&mut self, input: Input) {
        let now = self.clock.now();
        let effects = self.engine.handle(now, input);
        self.carry_out(effects);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Verify { batch, entries } => {
                    let (good, bad) = verify_batch(entries);
                    self.input(Input::Verified { batch, good, bad });
                }
                Effect::Flush { batch, .. } => self.input(Input::Flushed { batch }),
                Effect::Datagram { to, bytes } => {
                    self.net.command(NetCommand::Datagram { to, bytes });
                }
                Effect::Message { to, bytes } => {
                    self.net.command(NetCommand::Message { to, bytes });
                }
                Effect::Peers { keys } => self.net.command(NetCommand::Peers(keys)),
                _ => {}
            }
        }
    }
}
