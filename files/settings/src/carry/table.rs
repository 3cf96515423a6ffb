//! Steps written as a carry-over table: neighbours joined, repetitions folded.

use super::CarryError;
use super::convert::Deed;
use crate::layout::{ByteOrder, Layout, Repr};
use packstaff_keeper::Writer;
use packstaff_keeper::table::{Cell, Form, Kind, Number, Real, Rounding, Text};

/// One thing to do, at its places in the two records.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Step {
    pub(super) from: u16,
    pub(super) to: u16,
    pub(super) deed: Deed,
    pub(super) keep: bool,
}

/// Steps, or a body of them many times.
enum Node {
    One(Step),
    Each {
        times: u16,
        from_step: u16,
        to_step: u16,
        body: Vec<Node>,
    },
}

/// Steps in a repetition at most: a record of six programmes with sixteen steps of three fields needs 50.
const LONGEST_BODY: usize = 512;
/// One less than keeper's own bound, for a margin.
const DEEPEST: usize = 3;

pub(super) fn write(from: &Layout, to: &Layout, steps: &[Step]) -> Result<Vec<u8>, CarryError> {
    let sizes = (
        u16::try_from(from.record.size).unwrap_or(u16::MAX),
        u16::try_from(to.record.size).unwrap_or(u16::MAX),
    );
    let nodes = fold(&joined(steps), 0);
    let mut writer = Writer::new(from.number, sizes.0, to.number, sizes.1);
    let orders = (from.order == ByteOrder::Big, to.order == ByteOrder::Big);
    emit(&mut writer, &nodes, orders);
    writer.finish().map_err(|fault| CarryError::Table(fault.to_string()))
}

/// Copies of bytes that lie side by side in both records become one.
fn joined(steps: &[Step]) -> Vec<Step> {
    let mut joined: Vec<Step> = Vec::new();
    for step in steps {
        let before = joined.last_mut().filter(|before| before.keep == step.keep);
        if let Some(before) = before
            && let (Deed::Copy { len }, Deed::Copy { len: more }) = (&before.deed, &step.deed)
            && before.from.checked_add(*len) == Some(step.from)
            && before.to.checked_add(*len) == Some(step.to)
            && let Some(both) = len.checked_add(*more)
        {
            before.deed = Deed::Copy { len: both };
            continue;
        }
        joined.push(step.clone());
    }
    joined
}

const fn uses_from(deed: &Deed) -> bool {
    !matches!(deed, Deed::Put { .. } | Deed::Fill { .. } | Deed::Crc { .. })
}

/// Whether `later` is `earlier` moved by these steps.
fn repeats(earlier: &Step, later: &Step, from_step: u16, to_step: u16) -> bool {
    earlier.deed == later.deed
        && earlier.keep == later.keep
        && earlier.to.checked_add(to_step) == Some(later.to)
        && (!uses_from(&earlier.deed) || earlier.from.checked_add(from_step) == Some(later.from))
}

fn fold(steps: &[Step], depth: usize) -> Vec<Node> {
    let mut nodes = Vec::new();
    let mut rest = steps;
    while let Some(first) = rest.first() {
        let best = if depth < DEEPEST { best_repetition(rest) } else { None };
        let Some((period, times, from_step, to_step)) = best else {
            nodes.push(Node::One(first.clone()));
            rest = rest.get(1..).unwrap_or_default();
            continue;
        };
        nodes.push(Node::Each {
            times,
            from_step,
            to_step,
            body: fold(rest.get(..period).unwrap_or_default(), depth + 1),
        });
        rest = rest.get(period * usize::from(times)..).unwrap_or_default();
    }
    nodes
}

/// The repetition at the beginning that covers most steps: its length, how often, and how far apart in the two records.
fn best_repetition(steps: &[Step]) -> Option<(usize, u16, u16, u16)> {
    let mut best: Option<(usize, u16, u16, u16)> = None;
    let mut covered = 0;
    for period in 1..=LONGEST_BODY.min(steps.len() / 2) {
        let (Some(body), Some(next)) = (steps.get(..period), steps.get(period..period * 2)) else {
            break;
        };
        let (Some(first), Some(second)) = (body.first(), next.first()) else {
            break;
        };
        let Some(to_step) = second.to.checked_sub(first.to) else {
            continue;
        };
        let moved = body.iter().zip(next).find(|(step, _)| uses_from(&step.deed));
        let from_step = match moved {
            None => Some(0),
            Some((step, later)) => later.from.checked_sub(step.from),
        };
        let Some(from_step) = from_step else { continue };
        let mut times: u16 = 1;
        let mut earlier = body;
        for later in steps.chunks_exact(period).skip(1) {
            let same = earlier
                .iter()
                .zip(later)
                .all(|(one, other)| repeats(one, other, from_step, to_step));
            if !same || times == u16::MAX {
                break;
            }
            times += 1;
            earlier = later;
        }
        let covers = period * usize::from(times);
        // Short bodies of few repetitions cost more than they save.
        if times > 1 && covers >= 3 && covers > covered {
            covered = covers;
            best = Some((period, times, from_step, to_step));
        }
    }
    best
}

fn emit(writer: &mut Writer, nodes: &[Node], orders: (bool, bool)) {
    for node in nodes {
        match node {
            Node::One(step) if step.keep => {
                writer.kept(|writer| one(writer, step, orders));
            }
            Node::One(step) => one(writer, step, orders),
            Node::Each {
                times,
                from_step,
                to_step,
                body,
            } => {
                writer.each(*times, *from_step, *to_step, |writer| emit(writer, body, orders));
            }
        }
    }
}

fn one(writer: &mut Writer, step: &Step, (from_big, to_big): (bool, bool)) {
    let from_cell = |repr| Cell {
        at: step.from,
        kind: kind(repr),
        big_endian: from_big,
    };
    let to_cell = |repr| Cell {
        at: step.to,
        kind: kind(repr),
        big_endian: to_big,
    };
    match &step.deed {
        Deed::Copy { len } => writer.copy(step.from, step.to, *len),
        Deed::Number {
            from,
            to,
            scale,
            outside,
            low,
            high,
            default,
        } => writer.number(&Number {
            from: from_cell(*from),
            to: to_cell(*to),
            scale: *scale,
            rounding: Rounding::HalfAway,
            outside: *outside,
            low: *low,
            high: *high,
            default: *default,
        }),
        Deed::Real {
            from,
            to,
            scale,
            outside,
            low,
            high,
            default,
        } => writer.real(&Real {
            from: from_cell(*from),
            to: to_cell(*to),
            scale: *scale,
            outside: *outside,
            low: *low,
            high: *high,
            default: *default,
        }),
        Deed::Choice {
            from,
            to,
            pairs,
            outside,
            default,
        } => writer.choice(from_cell(*from), to_cell(*to), pairs, *outside, *default),
        Deed::Bits { from, to, pairs } => writer.bits(from_cell(*from), to_cell(*to), pairs),
        Deed::Text {
            from_room,
            to_room,
            outside,
        } => writer.text(&Text {
            from: step.from,
            from_room: *from_room,
            from_form: Form::Filled,
            to: step.to,
            to_room: *to_room,
            to_form: Form::Filled,
            outside: *outside,
        }),
        Deed::Put { bytes } => match bytes.split_first() {
            Some((first, rest)) if bytes.len() > 4 && rest.iter().all(|byte| byte == first) => {
                writer.fill(step.to, u16::try_from(bytes.len()).unwrap_or(u16::MAX), *first)
            }
            _ => writer.put(step.to, bytes),
        },
        Deed::Fill { len, byte } => writer.fill(step.to, *len, *byte),
        Deed::Crc { start, len } => {
            let start = u16::try_from(i32::from(step.to) + start).unwrap_or(u16::MAX);
            writer.crc(start, *len, step.to, to_big)
        }
    };
}

const fn kind(repr: Repr) -> Kind {
    match repr {
        Repr::U8 => Kind::U8,
        Repr::U16 => Kind::U16,
        Repr::U32 => Kind::U32,
        Repr::U64 => Kind::U64,
        Repr::I8 => Kind::I8,
        Repr::I16 => Kind::I16,
        Repr::I32 => Kind::I32,
        Repr::I64 => Kind::I64,
        Repr::F32 => Kind::F32,
        Repr::F64 => Kind::F64,
    }
}
