//! A power-up of the port, in step with the same installer here.

use crate::finding::Finding;
use crate::rig::{Rig, words_of, words_of_answer};
use packstaff_installer::{Installer, Listing, Reason, Reply};
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::stick::Stick;
use std::time::Duration;

/// More steps than any install on a bench needs.
const STEPS_MAX: u32 = 1 << 20;

/// What happens in a power-up.
#[derive(Clone, Debug, Default)]
pub(crate) struct Script<'a> {
    /// The stick, if there is one.
    pub(crate) stick: Option<&'a Stick>,
    /// The manifest of the file that the owner picks; nothing, if it is not offered.
    pub(crate) picks: Option<[u8; 32]>,
    /// Where the supply goes: at which change of flash, from 1, and when.
    pub(crate) cut: Option<(u32, When)>,
    /// After how many blocks the stick is pulled.
    pub(crate) pulled_after: Option<u32>,
}

/// When in a change the supply goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum When {
    Before,
    After,
    /// So long after it has begun; where it stands then, nobody knows.
    Inside(Duration),
}

/// How a power-up ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ended {
    Started(u32),
    Waits(Reason),
    Cut,
}

/// What was seen on the way.
#[derive(Clone, Debug)]
pub(crate) struct Seen {
    pub(crate) ended: Ended,
    /// What the owner was told.
    pub(crate) told: Vec<Reason>,
    /// Changes of flash.
    pub(crate) changes: u32,
    /// Blocks of the stick that were read.
    pub(crate) blocks: u32,
}

/// Powers the port up.
pub(crate) fn power_up(rig: &mut Rig, script: &Script<'_>) -> Result<Seen, Finding> {
    let blueprint = rig.blueprint.clone();
    let config = blueprint.config();
    let mut machine = Installer::new();
    let mut seen = Seen {
        ended: Ended::Cut,
        told: Vec::new(),
        changes: 0,
        blocks: 0,
    };
    rig.counts.power_ups += 1;
    let mut answer = None::<Answer>;
    let mut said = rig.ask("power-up")?;
    for step in 1..=STEPS_MAX {
        let reply = answer.as_ref().map_or(Reply::PowerUp, Answer::reply);
        let wish = Wish::from(machine.step(&config, reply));
        rig.counts.steps += 1;
        let expected = format!("wants {}", words_of(&wish));
        if said != expected {
            return Err(Finding::OtherWay {
                step,
                found: said,
                expected,
            });
        }
        let next = match &wish {
            Wish::FindStick => script
                .stick
                .map_or(Answer::NoStick, |stick| Answer::Stick(stick.blocks())),
            Wish::ReadStick(block) => {
                seen.blocks += 1;
                let pulled = script.pulled_after.is_some_and(|after| seen.blocks > after);
                let block = script.stick.filter(|_| !pulled).and_then(|stick| stick.block(*block));
                block.map_or(Answer::Failed, |block| Answer::Block(Box::new(block)))
            }
            Wish::ReadFlash(_) | Wish::DigestFlash(_) | Wish::CheckBlank(_) => rig.looks(&wish, "do")?,
            Wish::Change(change) => {
                seen.changes += 1;
                match script.cut.filter(|(at, _)| *at == seen.changes) {
                    Some((_, When::Before)) => return rig.cut().map(|()| seen),
                    Some((_, When::Inside(time))) => {
                        rig.link.send("do")?;
                        std::thread::sleep(time);
                        return rig.cut().map(|()| seen);
                    }
                    _ => rig.changes(change, "do")?,
                }
                if script.cut.is_some_and(|(at, _)| at == seen.changes) {
                    return rig.cut().map(|()| seen);
                }
                Answer::Done
            }
            Wish::Ask(listing) => {
                screen(rig, &offered(listing))?;
                let picked = listing
                    .offers()
                    .find(|(_, _, offer)| Some(offer.manifest) == script.picks);
                Answer::Chosen(picked.map(|(index, _, _)| index))
            }
            Wish::Tell(reason) => {
                screen(rig, &reason.code().to_string())?;
                seen.told.push(*reason);
                Answer::Done
            }
            Wish::Wait(reason) => {
                screen(rig, &reason.code().to_string())?;
                seen.ended = Ended::Waits(*reason);
                return Ok(seen);
            }
            Wish::Start(address) => {
                seen.ended = Ended::Started(*address);
                return Ok(seen);
            }
        };
        // What a driver found goes on from the port itself; what the judge plays goes over the line.
        said = match &wish {
            Wish::ReadFlash(_) | Wish::DigestFlash(_) | Wish::CheckBlank(_) | Wish::Change(_) => rig.ask("next")?,
            _ => rig.ask(&format!("reply {}", words_of_answer(&next)))?,
        };
        answer = Some(next);
    }
    Err(Finding::Ends {
        found: format!("took more than {STEPS_MAX} steps"),
        expected: "comes to an end".to_owned(),
    })
}

/// The version of the first offer, as an owner reads it.
fn offered(listing: &Listing) -> String {
    let first = listing.offers().next();
    first.map_or_else(String::new, |(_, _, offer)| offer.version.to_string())
}

fn screen(rig: &mut Rig, expected: &str) -> Result<(), Finding> {
    let said = rig.ask("show")?;
    let shown = said.strip_prefix("shown").ok_or_else(|| Finding::Answer {
        asked: "show".to_owned(),
        answer: said.clone(),
        expected: "shown and what stands on the screen".to_owned(),
    })?;
    if shown.contains(expected) {
        return Ok(());
    }
    Err(Finding::Screen {
        shown: shown.trim().to_owned(),
        expected: expected.to_owned(),
    })
}

/// Powers the port up after a cut whose outcome nobody knows, without looking at each step: the owner picks the first file.
pub(crate) fn come_back(rig: &mut Rig, stick: &Stick) -> Result<u32, Finding> {
    rig.counts.power_ups += 1;
    let mut said = rig.ask("power-up")?;
    for _ in 0..STEPS_MAX {
        let wants = said.strip_prefix("wants ").unwrap_or_default();
        let (kind, rest) = wants.split_once(' ').unwrap_or((wants, ""));
        let number = u64::from_str_radix(rest, 16);
        let reply = match (kind, number) {
            ("find-stick", _) => format!("stick {:x}", stick.blocks()),
            ("read-stick", Ok(block)) => words_of_answer(
                &stick
                    .block(block)
                    .map_or(Answer::Failed, |block| Answer::Block(Box::new(block))),
            ),
            ("ask", _) => "chosen 0".to_owned(),
            ("tell", _) => "done".to_owned(),
            ("start", Ok(address)) => return Ok(address as u32),
            ("read-flash" | "digest-flash" | "check-blank" | "erase" | "program", _) => {
                rig.ask("do")?;
                said = rig.ask("next")?;
                continue;
            }
            _ => {
                return Err(Finding::Ends {
                    found: format!("answers {said:?} after a cut in the middle of a change"),
                    expected: "comes back with the same stick".to_owned(),
                });
            }
        };
        said = rig.ask(&format!("reply {reply}"))?;
    }
    Err(Finding::Ends {
        found: format!("took more than {STEPS_MAX} steps after a cut"),
        expected: "comes back with the same stick".to_owned(),
    })
}
