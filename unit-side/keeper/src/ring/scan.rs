//! Going through a region, and fetching the newest record.

use super::{Ask, At, Context, READ_MAX, REREADS_MAX, RESCANS_MAX, Ring, Stage, Turn, bit};
use crate::check::Crc32;
use crate::config::Memory;
use crate::record::{HEAD, Head, is_newer};
use crate::request::{Reply, Trouble};

/// What is read of one spot after another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Scan {
    spot: u32,
    part: Part,
    /// How often the spot was read again.
    rereads: u8,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Part {
    /// Whether it was made void.
    Mark,
    Head,
    /// The payload and its check value, from this offset behind the head.
    Body {
        head: Head,
        at: u32,
        crc: Crc32,
        seal: [u8; 4],
    },
    /// Whether the rest is blank, from this offset of the record.
    Rest {
        at: u32,
    },
}

impl Scan {
    pub(super) const fn at(spot: u32) -> Self {
        Self {
            spot,
            part: Part::Mark,
            rereads: 0,
        }
    }
}

/// What is read of the newest record: the payload, and the check value behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Fetch {
    from: At,
    at: u32,
    crc: Crc32,
    seal: [u8; 4],
}

/// Takes bytes of a body from offset `at`: first the payload, then the check value.
fn take(head: Head, at: u32, bytes: &[u8], crc: &mut Crc32, seal: &mut [u8; 4]) {
    let len = u32::from(head.len);
    let payload = len.saturating_sub(at).min(bytes.len() as u32);
    let (payload, rest) = bytes.split_at_checked(payload as usize).unwrap_or((bytes, &[]));
    crc.add(payload);
    let begins = at.saturating_sub(len) as usize;
    for (to, from) in seal.iter_mut().skip(begins).zip(rest) {
        *to = *from;
    }
}

fn begun(head: Head) -> Crc32 {
    let mut crc = Crc32::new();
    crc.add(&head.encode());
    crc
}

impl Ring {
    pub(super) fn ask_scan(&mut self, context: &mut Context<'_>, scan: Scan) -> Turn {
        let spots = context.spots;
        let record = spots.record(scan.spot);
        let (address, len) = match scan.part {
            Part::Mark if spots.mark == 0 => return self.go_on(context, scan, Part::Head),
            Part::Mark => (spots.address(scan.spot), spots.mark),
            Part::Head => (record, HEAD as u32),
            Part::Body { head, at, .. } => {
                let left = u32::from(head.len).saturating_add(4).saturating_sub(at);
                (record.wrapping_add(HEAD as u32).wrapping_add(at), left.min(READ_MAX))
            }
            Part::Rest { at } => {
                let left = spots.pitch.saturating_sub(spots.mark).saturating_sub(at);
                (record.wrapping_add(at), left.min(READ_MAX))
            }
        };
        Turn::Ask(Ask::Read { address, len })
    }

    fn go_on(&mut self, context: &mut Context<'_>, scan: Scan, part: Part) -> Turn {
        self.go(Stage::Scan(Scan { part, ..scan }), context)
    }

    /// The spot does not read well.
    fn reread(&mut self, context: &mut Context<'_>, scan: Scan) -> Turn {
        let rereads = scan.rereads.saturating_add(1);
        if rereads <= REREADS_MAX {
            let again = Scan {
                rereads,
                ..Scan::at(scan.spot)
            };
            return self.go(Stage::Scan(again), context);
        }
        self.broken |= bit(scan.spot);
        if context.spots.mark == 0 {
            self.free |= bit(scan.spot);
        }
        self.next_spot(context, scan.spot)
    }

    pub(super) fn scanned(&mut self, context: &mut Context<'_>, scan: Scan, reply: Reply<'_>) -> Turn {
        let spots = context.spots;
        let spot = scan.spot;
        let flash = matches!(spots.memory, Memory::Flash { .. });
        let Reply::Bytes(bytes) = reply else {
            // Flash has cells that cannot be read; other memories then do not answer at all.
            if !flash {
                return self.trouble(Trouble::Silent);
            }
            return match scan.part {
                Part::Mark | Part::Rest { .. } => self.next_spot(context, spot),
                Part::Head | Part::Body { .. } => self.reread(context, scan),
            };
        };
        let erased = spots.erased();
        let all = |value: u8| bytes.iter().all(|byte| *byte == value);
        match scan.part {
            // A mark, or what is left of one: void.
            Part::Mark if !all(erased) => self.next_spot(context, spot),
            Part::Mark => self.go_on(context, scan, Part::Head),
            Part::Head => match Head::decode(bytes) {
                Some(head) if usize::from(head.len) > context.payload.len() => {
                    self.longer = true;
                    self.next_spot(context, spot)
                }
                Some(head) => {
                    let part = Part::Body {
                        head,
                        at: 0,
                        crc: begun(head),
                        seal: [0; 4],
                    };
                    self.go_on(context, scan, part)
                }
                None if flash && all(erased) => self.go_on(context, scan, Part::Rest { at: HEAD as u32 }),
                None if flash => self.reread(context, scan),
                None => {
                    let first = bytes.get(..(spots.chunk as usize).min(HEAD)).unwrap_or(bytes);
                    let void = [0, 0xff].iter().any(|value| first.iter().all(|byte| byte == value));
                    if !void {
                        return self.reread(context, scan);
                    }
                    self.free |= bit(spot);
                    self.next_spot(context, spot)
                }
            },
            Part::Body {
                head,
                at,
                mut crc,
                mut seal,
            } => {
                take(head, at, bytes, &mut crc, &mut seal);
                let at = at.saturating_add(bytes.len() as u32);
                if at < u32::from(head.len).saturating_add(4) && !bytes.is_empty() {
                    return self.go_on(context, scan, Part::Body { head, at, crc, seal });
                }
                let whole = crc.value() == u32::from_le_bytes(seal);
                if !whole || self.distrusted & bit(spot) != 0 {
                    return self.reread(context, scan);
                }
                self.found(At { spot, head });
                self.next_spot(context, spot)
            }
            Part::Rest { at } => {
                let at = at.saturating_add(bytes.len() as u32);
                if !all(erased) {
                    return self.next_spot(context, spot);
                }
                if at < spots.pitch.saturating_sub(spots.mark) && !bytes.is_empty() {
                    return self.go_on(context, scan, Part::Rest { at });
                }
                self.free |= bit(spot);
                self.next_spot(context, spot)
            }
        }
    }

    fn found(&mut self, at: At) {
        self.whole |= bit(at.spot);
        if let Some(turn) = self.turns.get_mut(at.spot as usize) {
            *turn = at.head.turn;
        }
        if self.newest.is_none_or(|known| is_newer(at.head.turn, known.head.turn)) {
            self.newest = Some(at);
        }
    }

    fn next_spot(&mut self, context: &mut Context<'_>, spot: u32) -> Turn {
        let next = spot.saturating_add(1);
        if next < context.spots.count {
            return self.go(Stage::Scan(Scan::at(next)), context);
        }
        if self.longer {
            return self.trouble(Trouble::Longer);
        }
        match self.newest {
            None => self.clean(context),
            Some(from) => {
                let fetch = Fetch {
                    from,
                    at: 0,
                    crc: begun(from.head),
                    seal: [0; 4],
                };
                self.go(Stage::Fetch(fetch), context)
            }
        }
    }

    pub(super) fn ask_fetch(&mut self, context: &mut Context<'_>, fetch: Fetch) -> Turn {
        let left = u32::from(fetch.from.head.len)
            .saturating_add(4)
            .saturating_sub(fetch.at);
        let record = context.spots.record(fetch.from.spot);
        Turn::Ask(Ask::Read {
            address: record.wrapping_add(HEAD as u32).wrapping_add(fetch.at),
            len: left.min(READ_MAX),
        })
    }

    pub(super) fn fetched(&mut self, context: &mut Context<'_>, mut fetch: Fetch, reply: Reply<'_>) -> Turn {
        let head = fetch.from.head;
        let bytes = match reply {
            Reply::Bytes(bytes) if !bytes.is_empty() => bytes,
            _ if context.spots.mark == 0 => return self.trouble(Trouble::Silent),
            _ => return self.once_more(context, fetch.from.spot),
        };
        take(head, fetch.at, bytes, &mut fetch.crc, &mut fetch.seal);
        let room = context.payload.get_mut(..usize::from(head.len)).unwrap_or_default();
        let room = room.get_mut(fetch.at as usize..).unwrap_or_default();
        room.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
        fetch.at = fetch.at.saturating_add(bytes.len() as u32);
        if fetch.at < u32::from(head.len).saturating_add(4) {
            return self.go(Stage::Fetch(fetch), context);
        }
        if fetch.crc.value() != u32::from_le_bytes(fetch.seal) {
            return self.once_more(context, fetch.from.spot);
        }
        self.settle(context)
    }

    /// A record that read as whole does not do so any more.
    fn once_more(&mut self, context: &mut Context<'_>, spot: u32) -> Turn {
        let mut again = Self {
            distrusted: self.distrusted,
            rescans: self.rescans.saturating_add(1),
            ..Self::new()
        };
        if again.rescans > RESCANS_MAX {
            again.rescans = 0;
            again.distrusted |= bit(spot);
        }
        *self = again;
        self.go(Stage::Scan(Scan::at(0)), context)
    }

    /// The newest record is in the buffer: whether it can be relied on.
    fn settle(&mut self, context: &mut Context<'_>) -> Turn {
        let Some(newest) = self.newest else {
            return self.clean(context);
        };
        let head = newest.head;
        let others = (0..context.spots.count).filter(|spot| *spot != newest.spot && self.whole & bit(*spot) != 0);
        let named = |spot: &u32| self.turns.get(*spot as usize) == Some(&head.sure);
        let mut named = others.filter(named).filter(|_| head.sure != 0);
        let named = named.next();
        match named {
            Some(spot) => {
                let head = Head {
                    turn: head.sure,
                    ..head
                };
                self.sure = Some(At { spot, head });
                self.clear_and_begin(context, newest.head.layout, newest.head.len)
            }
            None if head.sure == 0 => {
                self.sure = None;
                self.clear_and_begin(context, head.layout, head.len)
            }
            None => {
                self.sure = self.newest;
                self.clean(context)
            }
        }
    }
}
