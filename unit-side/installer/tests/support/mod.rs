//! A unit for tests: a few sectors of flash, a stick, an owner, and the driver between them and the installer.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part of this")]

pub mod stick;
pub mod update;

use packstaff_envelope::{Anchor, Kid, UnitKey, sha256};
use packstaff_installer::{
    Config, Descriptor, Geometry, Installer, Layout, Listing, Reason, Record, Region, Register, Reply, Request,
    SectorRun,
};
use stick::Stick;
use update::{BOARD, VENDOR, verifying_key};

pub const SECTOR: u32 = 1024;
pub const GRANULE: u32 = 8;
pub const BASE: u32 = 0x0800_0000;
/// Behind the installer's sector and the register's two.
pub const SLOT: Region = sectors(3, 3);
/// Behind the slot.
pub const SECOND: Region = sectors(6, 3);
const COUNT: u32 = 10;

/// So many sectors from this one.
pub const fn sectors(first: u32, count: u32) -> Region {
    Region {
        base: BASE + first * SECTOR,
        size: count * SECTOR,
    }
}

/// What a unit is built with.
pub struct Board {
    pub layout: Layout,
    anchors: [Anchor; 1],
    key: UnitKey,
}

pub const SIBLING: [u8; 16] = [0xd0; 16];

impl Board {
    pub fn new(layout: Layout) -> Self {
        Self {
            layout,
            anchors: [Anchor::ed25519(Kid::new(b"maker").unwrap(), verifying_key())],
            key: update::generation(2),
        }
    }

    pub fn config(&self) -> Config<'_> {
        Config {
            vendor: VENDOR,
            class: BOARD,
            siblings: &[SIBLING],
            anchors: &self.anchors,
            key: &self.key,
            extension: *b"UPD",
            flash: Geometry {
                base: BASE,
                runs: &[SectorRun {
                    count: COUNT,
                    size: SECTOR,
                }],
                granule: GRANULE,
                erased: 0xff,
            },
            beside: None,
            slot: SLOT,
            layout: self.layout,
            floors: [sectors(1, 1), sectors(2, 1)],
        }
    }
}

/// What the installer asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    FindStick,
    ReadStick(u64),
    ReadFlash(u32, u32),
    DigestFlash(u32, u32),
    CheckBlank(u32, u32),
    Erase(u32),
    Program(u32, Vec<u8>),
    Ask,
    Tell(Reason),
    Wait(Reason),
    Start(u32),
}

impl Asked {
    fn of(request: &Request<'_>) -> Self {
        match *request {
            Request::FindStick => Self::FindStick,
            Request::ReadStick { block } => Self::ReadStick(block),
            Request::ReadFlash { address, len } => Self::ReadFlash(address, len),
            Request::DigestFlash { address, len } => Self::DigestFlash(address, len),
            Request::CheckBlank { address, len } => Self::CheckBlank(address, len),
            Request::Erase { address } => Self::Erase(address),
            Request::Program { address, data } => Self::Program(address, data.to_vec()),
            Request::Ask { .. } => Self::Ask,
            Request::Tell { reason, .. } => Self::Tell(reason),
            Request::Wait { reason, .. } => Self::Wait(reason),
            Request::Start { address } => Self::Start(address),
        }
    }

    pub fn is_change(&self) -> bool {
        matches!(self, Self::Erase(_) | Self::Program(..))
    }

    /// Whether it changes something of `region`.
    pub fn changes(&self, region: Region) -> bool {
        matches!(self, Self::Erase(address) | Self::Program(address, _) if region.contains(*address))
    }
}

/// What happens to a request instead of its being carried out.
pub enum Happens {
    /// Nothing: it is carried out.
    Nothing,
    /// It fails.
    Fails,
    /// It is said to be done, and was not.
    Ignored,
    /// The supply goes, before it is carried out.
    Cut,
}

/// How a power-up ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    Starts(u32),
    Waits(Reason),
    Cut,
}

/// A unit.
pub struct Unit {
    pub board: Board,
    pub cells: Vec<u8>,
    pub stick: Option<Stick>,
    /// The version that the owner picks, if it is offered.
    pub wants: Option<Vec<u32>>,
    /// What was asked in the last power-up.
    pub asked: Vec<Asked>,
    /// What the owner was shown last.
    pub listing: Listing,
    /// What flash showed at the last start or wait.
    pub installed: Option<Descriptor>,
}

impl Unit {
    pub fn new(layout: Layout) -> Self {
        Self {
            board: Board::new(layout),
            cells: vec![0xff; (COUNT * SECTOR) as usize],
            stick: None,
            wants: None,
            asked: Vec::new(),
            listing: Listing::EMPTY,
            installed: None,
        }
    }

    /// A unit with this update installed.
    pub fn with(layout: Layout, update: &update::Update) -> Self {
        let mut unit = Self::new(layout);
        unit.insert(update);
        assert!(matches!(unit.power_up(), Ending::Starts(_)), "{:?}", unit.asked);
        unit.stick = None;
        unit
    }

    /// A stick with this update alone, which the owner wants.
    pub fn insert(&mut self, update: &update::Update) {
        self.stick = Some(Stick::with(&[("KC4.UPD", &update.file())]));
        self.wants = Some(update.version.clone());
    }

    pub fn bytes(&self, region: Region) -> &[u8] {
        let at = (region.base - BASE) as usize;
        &self.cells[at..at + region.size as usize]
    }

    pub fn put(&mut self, address: u32, bytes: &[u8]) {
        let at = (address - BASE) as usize;
        self.cells[at..at + bytes.len()].copy_from_slice(bytes);
    }

    /// What the slot holds as an image of this size.
    pub fn holds(&self, place: Region, image: &[u8]) -> bool {
        self.bytes(place).starts_with(image)
    }

    pub fn register(&self) -> Register {
        let records = self
            .board
            .config()
            .floors
            .map(|sector| Record::decode(self.bytes(sector)));
        Register { records }
    }

    pub fn power_up(&mut self) -> Ending {
        self.power_up_with(|_, _| Happens::Nothing)
    }

    /// `event` is asked before each request is carried out, and may change the unit.
    pub fn power_up_with(&mut self, mut event: impl FnMut(&mut Self, &Asked) -> Happens) -> Ending {
        let board = Board::new(self.board.layout);
        let config = board.config();
        config.check().unwrap();
        self.run(&mut Installer::new(), &config, &mut event)
    }

    /// A power-up of this machine, which is shown after each step.
    pub fn play(&mut self, machine: &mut Installer, config: &Config<'_>, mut seen: impl FnMut(&Installer)) -> Ending {
        let mut answer = Answer::PowerUp;
        loop {
            let asked = self.ask(machine, config, &answer);
            seen(machine);
            answer = match asked {
                Asked::Start(address) => return Ending::Starts(address),
                Asked::Wait(reason) => return Ending::Waits(reason),
                asked => self.carry_out(&asked),
            };
        }
    }

    /// The machine's next request, which the owner sees what there is to see of.
    fn ask(&mut self, machine: &mut Installer, config: &Config<'_>, answer: &Answer) -> Asked {
        let request = machine.step(config, answer.reply());
        let asked = Asked::of(&request);
        if let Request::Ask { listing } | Request::Tell { listing, .. } | Request::Wait { listing, .. } = request {
            self.listing = *listing;
        }
        self.installed = machine.installed().copied();
        asked
    }

    fn run(
        &mut self,
        machine: &mut Installer,
        config: &Config<'_>,
        event: &mut dyn FnMut(&mut Self, &Asked) -> Happens,
    ) -> Ending {
        let mut answer = Answer::PowerUp;
        self.asked.clear();
        loop {
            let asked = self.ask(machine, config, &answer);
            let happens = event(self, &asked);
            self.asked.push(asked.clone());
            answer = match (happens, &asked) {
                (Happens::Cut, _) => return Ending::Cut,
                (Happens::Fails, _) => Answer::Failed,
                (Happens::Ignored, _) => Answer::Done,
                (Happens::Nothing, Asked::Start(address)) => return Ending::Starts(*address),
                (Happens::Nothing, Asked::Wait(reason)) => return Ending::Waits(*reason),
                (Happens::Nothing, _) => self.carry_out(&asked),
            };
            assert!(self.asked.len() < 5000, "it does not come to an end");
        }
    }

    fn carry_out(&mut self, asked: &Asked) -> Answer {
        let region = |base: u32, size: u32| Region { base, size };
        match asked {
            Asked::FindStick => self
                .stick
                .as_ref()
                .map_or(Answer::NoStick, |stick| Answer::Stick(stick.blocks())),
            Asked::ReadStick(block) => match self.stick.as_ref().and_then(|stick| stick.block(*block)) {
                Some(block) => Answer::Block(Box::new(block)),
                None => Answer::Failed,
            },
            Asked::ReadFlash(address, len) => Answer::Flash(self.bytes(region(*address, *len)).to_vec()),
            Asked::DigestFlash(address, len) => Answer::Digest(sha256(self.bytes(region(*address, *len)))),
            Asked::CheckBlank(address, len) => {
                let bytes = self.bytes(region(*address, *len));
                Answer::Blank(bytes.iter().all(|byte| *byte == 0xff))
            }
            Asked::Erase(address) => {
                assert_eq!(address % SECTOR, 0, "an erase is of a whole sector");
                self.put(*address, &[0xff; SECTOR as usize]);
                Answer::Done
            }
            Asked::Program(address, data) => self.program(*address, data),
            Asked::Ask => {
                let wanted = self.wants.as_deref();
                let mut offers = self.listing.offers();
                let row = offers.find(|(_, _, offer)| Some(offer.version.as_slice()) == wanted);
                Answer::Chosen(row.map(|(index, ..)| index))
            }
            Asked::Tell(_) | Asked::Wait(_) | Asked::Start(_) => Answer::Done,
        }
    }

    /// As parts with 8-byte granules do: only what is erased, or to zeros.
    fn program(&mut self, address: u32, data: &[u8]) -> Answer {
        assert_eq!(
            (address % GRANULE, data.len() as u32 % GRANULE),
            (0, 0),
            "whole granules"
        );
        for (granule, address) in data.chunks(GRANULE as usize).zip((address..).step_by(GRANULE as usize)) {
            let there = self.bytes(Region {
                base: address,
                size: GRANULE,
            });
            if there.iter().any(|byte| *byte != 0xff) && granule.iter().any(|byte| *byte != 0) {
                return Answer::Failed;
            }
            self.put(address, granule);
        }
        Answer::Done
    }
}

enum Answer {
    PowerUp,
    NoStick,
    Stick(u64),
    Block(Box<packstaff_fat::Block>),
    Flash(Vec<u8>),
    Digest([u8; 32]),
    Blank(bool),
    Chosen(Option<usize>),
    Done,
    Failed,
}

impl Answer {
    fn reply(&self) -> Reply<'_> {
        match self {
            Self::PowerUp => Reply::PowerUp,
            Self::NoStick => Reply::NoStick,
            Self::Stick(blocks) => Reply::Stick { blocks: *blocks },
            Self::Block(block) => Reply::Block(block),
            Self::Flash(bytes) => Reply::Flash(bytes),
            Self::Digest(digest) => Reply::Digest(*digest),
            Self::Blank(blank) => Reply::Blank(*blank),
            Self::Chosen(row) => Reply::Chosen(*row),
            Self::Done => Reply::Done,
            Self::Failed => Reply::Failed,
        }
    }
}
