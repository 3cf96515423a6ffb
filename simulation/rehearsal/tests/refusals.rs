//! What a unit refuses, and with which reason: nothing may be erased before it has decided.
//!
//! The names in comments (THREAT.…) are those of RFC 9124, section 4.2.

mod support;

use ed25519_dalek::SigningKey;
use packstaff_envelope::{HeaderReader, Refusal};
use packstaff_fat::{BLOCK, Block};
use packstaff_installer::{Finding, Reason};
use packstaff_rehearsal::claims::running;
use packstaff_rehearsal::power_up::{Ending, Owner, PowerUp, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::stick::{Blocks, Stick};
use packstaff_unit::world::World;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU32, Ordering};
use support::{BOARD_D, Flashes, Update, blueprint, generation, manifest, stick, unit_with};

/// A unit with release 1.8 of issue 3, and what it makes of a stick.
struct Bench {
    blueprint: Blueprint,
    installed: Update,
    world: World,
}

struct Seen {
    power_up: PowerUp,
    changes: usize,
    runs_installed: bool,
    /// The reasons that the owner can read: of the listed files, then what was told.
    reasons: Vec<Reason>,
}

impl Bench {
    fn new() -> Self {
        let blueprint = blueprint(Flashes::Pages);
        let installed = Update {
            sequence: 3,
            ..Update::new(&[1, 8], 0x18)
        };
        let world = unit_with(&blueprint, &installed);
        Self {
            blueprint,
            installed,
            world,
        }
    }

    fn insert(&self, stick: Stick, owner: Owner) -> Seen {
        let mut world = self.world.clone();
        world.stick = Some(stick);
        let mut changes = 0;
        let power_up = power_up(&self.blueprint, &mut world, owner, |_, _| changes += 1);
        let release = self.installed.release();
        let runs_installed = running(&self.blueprint, &world, power_up.ending, &[release]) == Some(release);
        let listed = power_up.asked.iter().flat_map(|listing| {
            listing.rows().filter_map(|(_, row)| match row.finding {
                Finding::Refused(reason) => Some(reason),
                Finding::Offered(_) => None,
            })
        });
        let reasons = listed.chain(power_up.told.iter().copied()).collect();
        Seen {
            changes,
            runs_installed,
            reasons,
            power_up,
        }
    }

    /// One file under one name, and an owner who would take whatever is offered.
    fn file(&self, name: &str, file: &[u8], owner: Owner) -> Seen {
        self.insert(insert(stick(&[(name, file)])), owner)
    }

    fn refuses(&self, what: &str, name: &str, file: &[u8], reason: Reason) {
        let seen = self.file(name, file, Owner::Declines);
        assert_eq!(seen.reasons, [reason], "{what}");
        assert!(seen.power_up.asked.is_none(), "{what}: offered");
        assert_eq!(seen.changes, 0, "{what}: flash was changed");
        assert!(seen.runs_installed, "{what}: the installed release does not run");
    }
}

fn newer() -> Update {
    Update {
        sequence: 3,
        ..Update::new(&[2, 0], 0x20)
    }
}

/// THREAT.IMG.EXPIRED, THREAT.IMG.INCOMPATIBLE, THREAT.IMG.NON_AUTH, THREAT.IMG.DISCLOSURE
/// (generation), THREAT.IMG.LOCATION (size): each has a reason of its own.
#[test]
fn genuine_files_that_are_not_for_this_unit() {
    let bench = Bench::new();
    let file = newer().file();
    let cases = [
        (
            "other maker",
            Update {
                vendor: [9; 16],
                ..newer()
            },
            Reason::OtherMaker,
        ),
        (
            "other product",
            Update {
                class: [9; 16],
                ..newer()
            },
            Reason::OtherProduct,
        ),
        (
            "other board",
            Update {
                class: BOARD_D,
                ..newer()
            },
            Reason::OtherBoard,
        ),
        ("below the floor", Update { sequence: 2, ..newer() }, Reason::BelowFloor),
        (
            "too large",
            Update {
                image: vec![1; 7 * 1024 - 64],
                ..newer()
            },
            Reason::TooLarge,
        ),
        (
            "other key generation",
            Update {
                recipients: vec![generation("g1", 0x11), generation("g3", 0x33)],
                ..newer()
            },
            Reason::File(Refusal::NoRecipient),
        ),
        (
            "same generation, other key",
            Update {
                recipients: vec![generation("g2", 0x99)],
                ..newer()
            },
            Reason::File(Refusal::KeyUnwrap),
        ),
        (
            "signed by a stranger",
            Update {
                signer: SigningKey::from_bytes(&[7; 32]),
                ..newer()
            },
            Reason::File(Refusal::BadSignature),
        ),
    ];
    for (what, update, reason) in cases {
        bench.refuses(what, "KC4.UPD", &update.file(), reason);
    }
    bench.refuses("renamed", "KC4.TXT", &file, Reason::OtherName);
    bench.refuses("no update at all", "NOTES.TXT", b"hello", Reason::NoUpdate);
    bench.refuses(
        "something else under the right ending",
        "KC4.UPD",
        b"hello",
        Reason::File(Refusal::NotAnUpdate),
    );
    bench.refuses(
        "cut short",
        "KC4.UPD",
        &file[..file.len() - 1],
        Reason::File(Refusal::Truncated),
    );
    bench.refuses(
        "cut short in the header",
        "KC4.UPD",
        &file[..200],
        Reason::File(Refusal::Truncated),
    );
    bench.refuses("empty", "KC4.UPD", b"", Reason::File(Refusal::Truncated));
    // THREAT.IMG.EXTRA
    bench.refuses(
        "longer",
        "KC4.UPD",
        &[file.as_slice(), b"x"].concat(),
        Reason::File(Refusal::Trailing),
    );
}

/// An equal issue passes (SUIT manifest, 8.4.2), and the owner may go back to an older version of it.
#[test]
fn an_equal_issue_is_offered_newer_or_older() {
    let bench = Bench::new();
    for update in [
        newer(),
        Update {
            sequence: 3,
            ..Update::new(&[1, 7], 0x17)
        },
    ] {
        let file = update.file();
        let seen = bench.file("KC4.UPD", &file, Owner::wants(&manifest(&file)));
        assert!(seen.power_up.asked.is_some());
        assert!(matches!(seen.power_up.ending, Ending::Started { .. }));
        assert!(!seen.runs_installed && seen.changes > 0);
    }
}

/// THREAT.NET.ONPATH: one byte of the file changed, everywhere: refused by its signature, its structure or its digests, with
/// nothing erased, by a unit whose owner would take it.
///
/// Harmless by construction: none. There is no byte in the file that is not covered: the header's by signature and template,
/// the recipients' wrapped keys by the signature, the payload's by its digest.
#[test]
fn every_changed_byte_is_refused() {
    let bench = Bench::new();
    let file = newer().file();
    let payload = manifest(&file).payload_offset as usize;
    // Every byte of the header, and of the payload every seventh.
    let places = (0..payload)
        .chain((payload..file.len()).step_by(7))
        .chain([file.len() - 1]);
    let mut reasons = BTreeMap::<String, u32>::new();
    let mut tried = 0;
    for place in places {
        for flip in [0x01, 0x80] {
            let mut changed = file.clone();
            changed[place] ^= flip;
            // An owner who wants whatever this file says that it is.
            let mut reader = HeaderReader::new(changed.len() as u32);
            let owner = match reader.feed(&changed).and_then(|_| reader.verify(&[support::anchor()])) {
                Ok(manifest) => Owner::wants(&manifest),
                Err(_) => Owner::Declines,
            };
            let seen = bench.file("KC4.UPD", &changed, owner);
            assert_eq!(
                seen.changes, 0,
                "byte {place} flipped by {flip:#04x}: flash was changed"
            );
            assert!(seen.runs_installed, "byte {place} flipped by {flip:#04x}");
            let [reason] = seen.reasons[..] else {
                panic!("byte {place}: {:?}", seen.reasons)
            };
            *reasons.entry(reason.code().to_string()).or_default() += 1;
            tried += 1;
        }
    }
    assert!(tried > 1000, "{tried}");
    // Payload bytes fail by their digest, all others before a payload byte is looked at.
    let of_payload = 2 * (payload..file.len()).step_by(7).chain([file.len() - 1]).count() as u32;
    assert_eq!(reasons[&Reason::PAYLOAD_DAMAGED.code().to_string()], of_payload);
    assert!(reasons.len() >= 8, "{reasons:?}");
}

/// A stick that answers otherwise from its nth read of one block on.
struct Fickle {
    first: Vec<u8>,
    then: Vec<u8>,
    block: u64,
    reads: AtomicU32,
    turns_at: u32,
    dies: bool,
}

impl Blocks for Fickle {
    fn blocks(&self) -> u64 {
        (self.first.len() / BLOCK) as u64
    }

    fn block(&self, number: u64) -> Option<Block> {
        let reads = match number == self.block {
            true => self.reads.fetch_add(1, Ordering::Relaxed) + 1,
            false => self.reads.load(Ordering::Relaxed),
        };
        match reads >= self.turns_at {
            true if self.dies => None,
            true => self.then.block(number),
            false => self.first.block(number),
        }
    }
}

/// Sticks that hold `first` and turn into sticks that hold `then` at the nth read of the file's first block, for every n.
fn fickle(first: &[u8], then: &[u8], dies: bool) -> impl Iterator<Item = Fickle> {
    let both = [first, then].map(|file| stick(&[("KC4.UPD", file)]).to_vec());
    let block = (0..)
        .find(|number| both[0].block(*number).unwrap()[..2] == [0xd8, 0x6b])
        .unwrap();
    (1..=4).map(move |turns_at| {
        let [first, then] = both.clone();
        Fickle {
            first,
            then,
            block,
            reads: AtomicU32::new(0),
            turns_at,
            dies,
        }
    })
}

/// THREAT.MFST.TOCTOU: the header changes between the owner's choice and the check, or between the passes, to another genuine
/// update. What was picked is what runs, or what was installed, or the unit waits: never anything else.
#[test]
fn a_stick_that_turns_into_another_genuine_one() {
    let bench = Bench::new();
    let (picked, other) = (
        newer(),
        Update {
            sequence: 3,
            ..Update::new(&[2, 5], 0x25)
        },
    );
    let (file, swapped) = (picked.file(), other.file());
    let mut endings = Vec::new();
    for stick in fickle(&file, &swapped, false) {
        let turns_at = stick.turns_at;
        let seen = bench.insert(Stick::new(stick), Owner::wants(&manifest(&file)));
        endings.push((turns_at, seen.power_up.ending, seen.changes > 0, seen.reasons));
    }
    let started = Ending::Started {
        address: bench.blueprint.slot.base,
    };
    // From the first read on: the other one is offered, and not the one that the owner wants. From the second: the header that
    // is read after the choice is not the one that was offered. From the third: the payload fails its digest. From the fourth:
    // flash fails its digest, and the unit waits for a good stick.
    assert_eq!(endings[0], (1, started, false, vec![]));
    assert_eq!(endings[1], (2, started, false, vec![Reason::StickChanged]));
    assert_eq!(endings[2], (3, started, false, vec![Reason::PAYLOAD_DAMAGED]));
    assert_eq!(endings[3], (4, Ending::Waiting(Reason::FlashDiffers), true, vec![]));
}

/// THREAT.IMG.REPLACE: a hostile payload in the second pass, under a genuine header.
#[test]
fn a_payload_that_is_replaced_after_it_was_checked() {
    let bench = Bench::new();
    let file = newer().file();
    let mut hostile = file.clone();
    let payload = manifest(&file).payload_offset as usize;
    hostile[payload + 100..].iter_mut().for_each(|byte| *byte ^= 0xff);
    let last = fickle(&file, &hostile, false).last().unwrap();
    let seen = bench.insert(Stick::new(last), Owner::wants(&manifest(&file)));
    assert_eq!(seen.power_up.ending, Ending::Waiting(Reason::FlashDiffers));
}

/// A stick that is pulled: before the erase it costs nothing, after it the unit waits.
#[test]
fn a_stick_that_is_pulled() {
    let bench = Bench::new();
    let file = newer().file();
    for stick in fickle(&file, &file, true) {
        let turns_at = stick.turns_at;
        let seen = bench.insert(Stick::new(stick), Owner::wants(&manifest(&file)));
        match turns_at {
            4 => assert_eq!(seen.power_up.ending, Ending::Waiting(Reason::StickUnreadable)),
            _ => {
                assert!(seen.runs_installed, "{turns_at}");
                assert_eq!(
                    (seen.changes, &seen.reasons[..]),
                    (0, &[Reason::StickUnreadable][..]),
                    "{turns_at}"
                );
            }
        }
    }
}

/// THREAT.IMG.EXPIRED.OFFLINE, THREAT.UPD.UNAPPROVED: nothing is installed that the owner did not pick.
#[test]
fn an_owner_who_declines_keeps_what_there_is() {
    let bench = Bench::new();
    let seen = bench.file("KC4.UPD", &newer().file(), Owner::Declines);
    assert!(seen.power_up.asked.is_some());
    assert_eq!(seen.changes, 0);
    assert!(seen.runs_installed);
}

/// A crowded stick: good offers are listed beside files that are refused, companions and strangers are passed over.
#[test]
fn a_crowded_stick_still_offers_what_is_good() {
    let bench = Bench::new();
    let good = newer().file();
    let board_d = Update {
        class: BOARD_D,
        ..newer()
    }
    .file();
    let companion = [0x00, 0x05, 0x16, 0x07, 0, 2, 0, 0];
    let refused: Vec<(String, &[u8])> = (0..9).map(|n| (format!("BAD{n}.UPD"), &b"nonsense"[..])).collect();
    let mut files = vec![
        ("_KC4.UPD", &companion[..]),
        ("NOTES.TXT", b"hello"),
        ("KC4D.UPD", &board_d),
    ];
    files.extend(refused.iter().map(|(name, file)| (name.as_str(), *file)));
    files.push(("KC4C.UPD", &good));
    let seen = bench.insert(insert(stick(&files)), Owner::wants(&manifest(&good)));
    assert!(matches!(seen.power_up.ending, Ending::Started { .. }));
    assert!(!seen.runs_installed, "the good file was not installed");
    let listing = seen.power_up.asked.unwrap();
    assert_eq!(listing.rows().count(), packstaff_installer::ROWS);
    assert_eq!(listing.left_out, 3);
    assert!(seen.reasons.contains(&Reason::OtherBoard));
}
