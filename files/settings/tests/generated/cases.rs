//! Random tables and records, and lives of units.

use packstaff_keeper::table::{Cell, Form, Kind, Number, Outside, Real, Rounding, Scale, Text};
use packstaff_keeper::{AsideConfig, Config, Found, Keeper, Memory, Region, Reply, Request, Writer};
use proptest::prelude::*;

/// Bytes of both records.
pub(crate) const LEN: usize = 24;

#[derive(Clone, Debug)]
pub(crate) struct Case {
    pub(crate) table: Vec<u8>,
    pub(crate) from: Vec<u8>,
    pub(crate) aside: Option<(Vec<u8>, Vec<u8>)>,
    pub(crate) to_len: usize,
}

#[derive(Clone, Debug)]
pub(crate) enum Op {
    Copy(u16, u16, u16),
    Put(u16, Vec<u8>),
    Fill(u16, u16, u8),
    Number(Number),
    Real(Real),
    Choice(Cell, Cell, Vec<(i64, i64)>, Outside, i64),
    Bits(Cell, Cell, Vec<(u8, u8)>),
    Text(Text),
    Crc(u16, u16, u16, bool),
    Each(u16, u16, u16, Vec<Op>),
    Kept(Box<Op>),
}

/// Bytes that are often small numbers, all ones, or letters, so that ranges and texts are met.
pub(crate) fn record() -> impl Strategy<Value = Vec<u8>> {
    let byte = prop_oneof![
        Just(0),
        Just(0xff),
        0..4_u8,
        b'a'..=b'f',
        Just(0xc3),
        Just(0xa9),
        any::<u8>()
    ];
    proptest::collection::vec(byte, LEN)
}

pub(crate) fn ops() -> impl Strategy<Value = Vec<Op>> {
    proptest::collection::vec(nested(), 1..6)
}

fn nested() -> impl Strategy<Value = Op> {
    simple().prop_recursive(2, 6, 3, |inner| {
        let body = proptest::collection::vec(inner, 1..3);
        (0..4_u16, 0..3_u16, 0..3_u16, body).prop_map(|(times, from, to, body)| Op::Each(times, from, to, body))
    })
}

fn at() -> impl Strategy<Value = u16> {
    // Beyond the end now and then.
    prop_oneof![30 => 0..16_u16, 1 => 16..300_u16]
}

fn cell(kinds: &'static [Kind]) -> impl Strategy<Value = Cell> {
    (at(), proptest::sample::select(kinds), any::<bool>()).prop_map(|(at, kind, big_endian)| Cell {
        at,
        kind,
        big_endian,
    })
}

fn wholes() -> impl Strategy<Value = Cell> {
    cell(&Kind::ALL[..8])
}

fn reals() -> impl Strategy<Value = Cell> {
    cell(&Kind::ALL[8..])
}

fn scale() -> impl Strategy<Value = Scale> {
    let small = (-1000..1000_i64, -100_000..100_000_i64, 1..1000_i64);
    let any = (any::<i64>(), any::<i64>(), 1..=i64::MAX);
    prop_oneof![Just((1, 0, 1)), Just((50, -16_000, 9)), small, any].prop_map(|(mul, add, div)| Scale { mul, add, div })
}

fn outside() -> impl Strategy<Value = Outside> {
    prop_oneof![4 => Just(Outside::Clamp), 4 => Just(Outside::Default), 1 => Just(Outside::Refuse)]
}

fn limits() -> impl Strategy<Value = (i64, i64)> {
    prop_oneof![Just((i64::MIN, i64::MAX)), (-200..50_i64, 50..40_000_i64)]
}

fn simple() -> impl Strategy<Value = Op> {
    let number = (
        cell(&Kind::ALL),
        wholes(),
        scale(),
        proptest::sample::select(&Rounding::ALL[..]),
        outside(),
        limits(),
        any::<i8>(),
    );
    let number = number.prop_map(|(from, to, scale, rounding, outside, (low, high), default)| {
        Op::Number(Number {
            from,
            to,
            scale,
            rounding,
            outside,
            low,
            high,
            default: default.into(),
        })
    });
    let real = (
        cell(&Kind::ALL),
        reals(),
        scale(),
        outside(),
        limits(),
        -100.0..100.0_f64,
    );
    let real = real.prop_map(|(from, to, scale, outside, (low, high), default)| {
        Op::Real(Real {
            from,
            to,
            scale,
            outside,
            low: low as f64,
            high: high as f64,
            default,
        })
    });
    let pairs = proptest::collection::vec((prop_oneof![0..5_i64, any::<i64>()], any::<i64>()), 0..6);
    let choice = (wholes(), wholes(), pairs, outside(), any::<i64>());
    let bits = (
        wholes(),
        wholes(),
        proptest::collection::vec((0..70_u8, 0..70_u8), 0..8),
    );
    let form = || proptest::sample::select(&Form::ALL[..]);
    let text = (at(), 0..10_u16, form(), at(), 0..10_u16, form(), outside());
    let text = text.prop_map(|(from, from_room, from_form, to, to_room, to_form, outside)| {
        Op::Text(Text {
            from,
            from_room,
            from_form,
            to,
            to_room,
            to_form,
            outside,
        })
    });
    let plain = prop_oneof![
        (at(), at(), 0..9_u16).prop_map(|(from, to, len)| Op::Copy(from, to, len)),
        (at(), proptest::collection::vec(any::<u8>(), 0..9)).prop_map(|(to, bytes)| Op::Put(to, bytes)),
        (at(), 0..9_u16, any::<u8>()).prop_map(|(to, len, byte)| Op::Fill(to, len, byte)),
        number,
        real,
        choice.prop_map(|(from, to, pairs, outside, default)| Op::Choice(from, to, pairs, outside, default)),
        bits.prop_map(|(from, to, pairs)| Op::Bits(from, to, pairs)),
        text,
        (at(), 0..9_u16, at(), any::<bool>()).prop_map(|(start, len, at, big)| Op::Crc(start, len, at, big)),
    ];
    (plain, any::<bool>()).prop_map(|(op, kept)| if kept { Op::Kept(Box::new(op)) } else { op })
}

fn write(writer: &mut Writer, op: &Op) {
    match op {
        Op::Copy(from, to, len) => writer.copy(*from, *to, *len),
        Op::Put(to, bytes) => writer.put(*to, bytes),
        Op::Fill(to, len, byte) => writer.fill(*to, *len, *byte),
        Op::Number(number) => writer.number(number),
        Op::Real(real) => writer.real(real),
        Op::Choice(from, to, pairs, outside, default) => writer.choice(*from, *to, pairs, *outside, *default),
        Op::Bits(from, to, pairs) => writer.bits(*from, *to, pairs),
        Op::Text(text) => writer.text(text),
        Op::Crc(start, len, at, big) => writer.crc(*start, *len, *at, *big),
        Op::Each(times, from, to, body) => writer.each(*times, *from, *to, |writer| {
            body.iter().for_each(|op| write(writer, op));
        }),
        Op::Kept(op) => writer.kept(|writer| write(writer, op)),
    };
}

pub(crate) fn table(ops: &[Op]) -> Vec<u8> {
    let mut writer = Writer::new(1, LEN as u16, 2, LEN as u16);
    ops.iter().for_each(|op| write(&mut writer, op));
    writer.finish().unwrap()
}

/// One power-up: which version is installed, and what its owner saves.
#[derive(Clone, Debug)]
pub(crate) struct Boot {
    pub(crate) newer: bool,
    pub(crate) save: Option<Vec<u8>>,
}

impl Boot {
    pub(crate) fn new(newer: bool, save: Option<[u8; 4]>) -> Self {
        let save = save.map(|bytes| {
            if newer {
                [&bytes[..], &[bytes[0], 9]].concat()
            } else {
                bytes.to_vec()
            }
        });
        Self { newer, save }
    }
}

/// What a power-up came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Came {
    pub(crate) found: u32,
    pub(crate) given_back: bool,
    pub(crate) settings: Vec<u8>,
    pub(crate) saved: Option<u32>,
    pub(crate) cells: Vec<u8>,
}

pub(crate) struct Unit {
    pub(crate) memory: Memory,
    pub(crate) region: Region,
    pub(crate) aside: Option<AsideConfig>,
    pub(crate) cells: Vec<u8>,
    up: Vec<u8>,
    ways_back: Vec<u8>,
}

pub(crate) const ROOM: u32 = 10;
pub(crate) const BUFFER: usize = 16;
pub(crate) const ASIDE: usize = 256;

impl Unit {
    pub(crate) fn new(kind: u8, aside: bool) -> Self {
        let memory = match kind {
            0 => Memory::Pages { page: 16 },
            1 => Memory::Pages { page: 64 },
            _ => Memory::Flash {
                sector: 256,
                granule: 8,
                erased: 0xff,
            },
        };
        let region = Region { base: 0x400, size: 768 };
        let (old, new) = (Cell::little(0, Kind::I16), Cell::little(0, Kind::I32));
        let number = |from, to, (mul, add, div), (low, high)| Number {
            from,
            to,
            scale: Scale { mul, add, div },
            rounding: Rounding::HalfAway,
            outside: Outside::Clamp,
            low,
            high,
            default: 0,
        };
        let mut up = Writer::new(1, 4, 2, 6);
        up.number(&number(old, new, (50, -16_000, 9), (-100_000, 100_000)));
        up.kept(|up| {
            up.copy(2, 4, 1);
            up.put(5, &[3]);
        });
        let mut down = Writer::new(2, 6, 1, 4);
        down.number(&number(new, old, (9, 16_000, 50), (-2000, 30_000)));
        down.copy(4, 2, 1);
        let down = down.finish().unwrap();
        Self {
            memory,
            region,
            aside: aside.then_some(AsideConfig {
                region: Region {
                    base: 0x700,
                    size: 1024,
                },
                room: 120,
            }),
            cells: vec![0xff; 768 + 1024],
            up: up.finish().unwrap(),
            ways_back: [&(down.len() as u16).to_le_bytes()[..], &down].concat(),
        }
    }

    /// Layout, length, table and ways back of the version that is installed.
    pub(crate) fn version(&self, newer: bool) -> (u16, u16, &[u8], &[u8]) {
        match (newer, self.aside.is_some()) {
            (true, true) => (2, 6, &self.up, &self.ways_back),
            (true, false) => (2, 6, &self.up, &[]),
            (false, _) => (1, 4, &[], &[]),
        }
    }

    pub(crate) fn power_up(&mut self, boot: &Boot) -> Came {
        let (layout, len, table, ways_back) = self.version(boot.newer);
        let (table, ways_back) = (table.to_vec(), ways_back.to_vec());
        let tables = [&table[..]];
        let config = Config {
            memory: self.memory,
            region: self.region,
            room: ROOM,
            aside: self.aside,
            layout,
            len,
            tables: &tables,
            ways_back: &ways_back,
        };
        let mut keeper = Keeper::<BUFFER, ASIDE>::new();
        let (found, given_back) = drive(&mut keeper, &config, &mut self.cells);
        let settings = keeper.settings().to_vec();
        let saved = boot.save.as_ref().map(|payload| match keeper.save(&config, payload) {
            // Nothing can be saved where nothing could be found.
            Err(_) => found,
            Ok(()) => drive(&mut keeper, &config, &mut self.cells).0,
        });
        Came {
            found,
            given_back,
            settings,
            saved,
            cells: self.cells.clone(),
        }
    }
}

/// Until it rests: the number of the result in C, and whether something was given back.
fn drive(keeper: &mut Keeper<BUFFER, ASIDE>, config: &Config<'_>, cells: &mut [u8]) -> (u32, bool) {
    let base = config.region.base;
    let mut answer: Option<Option<Vec<u8>>> = None;
    loop {
        let reply = match &answer {
            None => Reply::Go,
            Some(None) => Reply::Done,
            Some(Some(bytes)) => Reply::Bytes(bytes),
        };
        answer = Some(match keeper.step(config, reply) {
            Request::Read { address, len } => {
                let at = (address - base) as usize;
                Some(cells[at..at + len as usize].to_vec())
            }
            Request::Write { address, data } => {
                let at = (address - base) as usize;
                cells[at..at + data.len()].copy_from_slice(data);
                None
            }
            Request::Erase { address } => {
                let at = (address - base) as usize;
                cells[at..at + 256].fill(0xff);
                None
            }
            Request::Rest(Found::Nothing) => return (0, false),
            Request::Rest(Found::Ours) => return (1, false),
            Request::Rest(Found::CarriedOver { given_back, .. }) => return (2, given_back),
            Request::Stuck(packstaff_keeper::Stuck::Foreign { .. }) => return (7, false),
            Request::Stuck(stuck) => panic!("{stuck:?}"),
        });
    }
}
