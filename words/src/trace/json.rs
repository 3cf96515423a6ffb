//! What a trace found, for machines. Names of fields and words in them do not change.

use super::contents::{purpose, unreadable, why};
use super::{account, inconsistency, letter};
use crate::reasons::{Language, explain};
use packstaff_bench::Bench;
use packstaff_bench::trace::{SettingsSeen, Traced};
use packstaff_installer::Reason;
use packstaff_trace::{
    Account, DescriptorAccount, FileSeen, FileState, Fix, FlashAccount, Hypothesis, Inconsistency, Named, Next,
    Outcome, RegisterAccount, ReleaseId, SectorSeen, Seen, Span, StickSeen, Unseen,
};
use serde::Serialize;

/// The account, the settings and the letter as one object.
pub fn json<'a>(bench: &'a Bench, traced: &'a Traced) -> impl Serialize + 'a {
    let Traced {
        sent,
        account: found,
        settings,
    } = traced;
    Whole {
        product: &bench.product.name,
        sent: account::sent(sent),
        board: &found.board,
        flash: found.flash.as_ref().map(Flash::of),
        stick: found.stick.as_ref().map(Stick::of),
        code: found.code.map(Code::of),
        next: found.next.as_ref().map(NextStart::of),
        repair: Repair::of(found),
        misfits: found.inconsistencies.iter().map(Misfit::of).collect(),
        unseen: found.unseen.iter().map(|unseen| NotSeen::of(*unseen)).collect(),
        settings: settings.as_ref().map(Settings::of),
        reply: letter(bench, traced),
    }
}

#[derive(Serialize)]
struct Whole<'a> {
    product: &'a str,
    sent: Vec<String>,
    board: &'a str,
    flash: Option<Flash<'a>>,
    stick: Option<Stick<'a>>,
    code: Option<Code>,
    next: Option<NextStart<'a>>,
    repair: Repair<'a>,
    misfits: Vec<Misfit>,
    unseen: Vec<NotSeen>,
    settings: Option<Settings<'a>>,
    reply: String,
}

#[derive(Serialize)]
struct Flash<'a> {
    read: u32,
    size: u32,
    sectors: Vec<Sector<'a>>,
    descriptor: Descriptor<'a>,
    register: [Record<'a>; 2],
    floor: Option<u64>,
    courses: &'a [Hypothesis],
}

impl<'a> Flash<'a> {
    fn of(flash: &'a FlashAccount) -> Self {
        Self {
            read: flash.read,
            size: flash.size,
            sectors: flash.sectors.iter().map(Sector::of).collect(),
            descriptor: Descriptor::of(&flash.descriptor),
            register: flash.register.each_ref().map(Record::of),
            floor: flash.floor,
            courses: &flash.hypotheses,
        }
    }
}

#[derive(Serialize)]
struct Sector<'a> {
    span: Span,
    sectors: u32,
    purpose: &'static str,
    seen: Option<&'a Seen>,
    unsteady: u32,
    unreadable: u32,
}

impl<'a> Sector<'a> {
    fn of(row: &'a SectorSeen) -> Self {
        Self {
            span: row.span,
            sectors: row.sectors,
            purpose: purpose(row.purpose),
            seen: row.seen.as_ref(),
            unsteady: row.unsteady,
            unreadable: row.unreadable,
        }
    }
}

#[derive(Serialize)]
struct Descriptor<'a> {
    state: &'static str,
    named: Option<&'a Named>,
}

impl<'a> Descriptor<'a> {
    const fn of(descriptor: &'a DescriptorAccount) -> Self {
        Self {
            state: match descriptor {
                DescriptorAccount::None => "none",
                DescriptorAccount::Whole(_) => "whole",
                DescriptorAccount::Voided(_) => "voided",
                DescriptorAccount::Erased => "erased",
                DescriptorAccount::Torn => "torn",
                DescriptorAccount::NotRead => "not-read",
            },
            named: descriptor.named(),
        }
    }
}

#[derive(Serialize)]
struct Record<'a> {
    state: &'static str,
    turn: Option<u32>,
    issue: Option<u64>,
    named: Option<&'a Named>,
}

impl<'a> Record<'a> {
    const fn of(record: &'a RegisterAccount) -> Self {
        let state = match record {
            RegisterAccount::Whole { turn, issue, named } => {
                return Self {
                    state: "whole",
                    turn: Some(*turn),
                    issue: Some(*issue),
                    named: named.as_ref(),
                };
            }
            RegisterAccount::Erased => "erased",
            RegisterAccount::Torn => "torn",
            RegisterAccount::NotRead => "not-read",
        };
        Self {
            state,
            turn: None,
            issue: None,
            named: None,
        }
    }
}

fn codes(reasons: &[Reason]) -> Vec<String> {
    reasons.iter().map(|reason| reason.code().to_string()).collect()
}

#[derive(Serialize)]
struct Stick<'a> {
    /// Code and reason.
    unreadable: Option<(String, String)>,
    files: Vec<File<'a>>,
    others: u32,
    shows: Vec<Shown<'a>>,
}

#[derive(Serialize)]
struct Shown<'a> {
    generation: &'a str,
    offers: &'a [String],
    codes: Vec<String>,
}

impl<'a> Stick<'a> {
    fn of(stick: &'a StickSeen) -> Self {
        let shows = stick.shows.iter().map(|shown| Shown {
            generation: &shown.generation,
            offers: &shown.offers,
            codes: codes(&shown.reasons),
        });
        Self {
            unreadable: stick
                .unreadable
                .map(|why| (why.reason().code().to_string(), unreadable(why))),
            files: stick.files.iter().map(File::of).collect(),
            others: stick.others,
            shows: shows.collect(),
        }
    }
}

#[derive(Serialize)]
struct File<'a> {
    name: &'a str,
    state: State<'a>,
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
enum State<'a> {
    Release {
        id: &'a ReleaseId,
    },
    Damaged {
        id: &'a ReleaseId,
        why: String,
        code: String,
    },
    NotOurs {
        what: String,
    },
    Refused {
        why: String,
        code: String,
    },
    TooLarge,
}

impl<'a> File<'a> {
    fn of(file: &'a FileSeen) -> Self {
        let why = why(&file.state).unwrap_or_default();
        let code = file
            .state
            .reason()
            .map_or(String::new(), |reason| reason.code().to_string());
        let state = match &file.state {
            FileState::Release { id } => State::Release { id },
            FileState::Damaged { id, .. } => State::Damaged { id, why, code },
            FileState::NotOurs { .. } => State::NotOurs { what: why },
            FileState::Refused(_) | FileState::Unreadable(_) => State::Refused { why, code },
            FileState::TooLarge => State::TooLarge,
        };
        Self {
            name: &file.name,
            state,
        }
    }
}

#[derive(Serialize)]
struct Code {
    code: String,
    meaning: String,
    remedy: String,
}

impl Code {
    fn of(reason: Reason) -> Self {
        let explained = explain(reason, Language::English);
        Self {
            code: reason.code().to_string(),
            meaning: explained.maker.cause.line.into_owned(),
            remedy: explained.owner.remedy.line.into_owned(),
        }
    }
}

#[derive(Serialize)]
struct NextStart<'a> {
    at_best: Ends<'a>,
    at_worst: Ends<'a>,
    certain: bool,
    changes: u32,
}

impl<'a> NextStart<'a> {
    fn of(next: &'a Next) -> Self {
        Self {
            at_best: Ends::of(&next.at_best),
            at_worst: Ends::of(&next.at_worst),
            certain: next.certain,
            changes: next.changes,
        }
    }
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case", tag = "ends")]
enum Ends<'a> {
    Starts {
        address: u32,
        release: Option<&'a ReleaseId>,
    },
    Waits {
        code: String,
        meaning: String,
    },
    Fails {
        how: String,
    },
}

impl<'a> Ends<'a> {
    fn of(outcome: &'a Outcome) -> Self {
        match outcome {
            Outcome::Starts { address, release } => Self::Starts {
                address: *address,
                release: release.as_ref(),
            },
            Outcome::Waits { reason } => {
                let Code { code, meaning, .. } = Code::of(*reason);
                Self::Waits { code, meaning }
            }
            Outcome::Fails { how } => Self::Fails {
                how: account::failure(*how),
            },
        }
    }
}

#[derive(Serialize)]
struct Repair<'a> {
    needed: Option<bool>,
    tried: Vec<Tried<'a>>,
}

#[derive(Serialize)]
struct Tried<'a> {
    release: &'a ReleaseId,
    file: &'a str,
    intended: bool,
    works_for: &'a [String],
    fails_for: Vec<Refused<'a>>,
}

#[derive(Serialize)]
struct Refused<'a> {
    generation: &'a str,
    shows: Vec<String>,
}

impl<'a> Repair<'a> {
    fn of(account: &'a Account) -> Self {
        let one = |fix: &'a Fix| Tried {
            release: &fix.release,
            file: &fix.file,
            intended: fix.intended,
            works_for: &fix.works_for,
            fails_for: fix
                .fails_for
                .iter()
                .map(|refused| Refused {
                    generation: &refused.generation,
                    shows: codes(&refused.shows),
                })
                .collect(),
        };
        Self {
            needed: account.repair.needed,
            tried: account.repair.tried.iter().map(one).collect(),
        }
    }
}

#[derive(Serialize)]
struct Misfit {
    id: &'static str,
    what: String,
    explanation: &'static str,
}

impl Misfit {
    fn of(found: &Inconsistency) -> Self {
        Self {
            id: inconsistency::id(found),
            what: inconsistency::what(found),
            explanation: inconsistency::explanation(found),
        }
    }
}

#[derive(Serialize)]
struct NotSeen {
    what: &'static str,
    would_tell: &'static str,
}

impl NotSeen {
    const fn of(unseen: Unseen) -> Self {
        Self {
            what: account::what(unseen),
            would_tell: account::would_tell(unseen),
        }
    }
}

#[derive(Serialize)]
struct Settings<'a> {
    versions: Vec<KeptAs<'a>>,
    without_layout: &'a [String],
}

#[derive(Serialize)]
struct KeptAs<'a> {
    version: &'a str,
    records: Vec<RecordKept>,
}

#[derive(Serialize)]
struct RecordKept {
    address: Option<u32>,
    flaws: Vec<String>,
}

impl<'a> Settings<'a> {
    fn of(settings: &'a SettingsSeen) -> Self {
        let versions = settings.versions.iter().map(|kept| {
            let records = kept.records.iter().map(|record| RecordKept {
                address: record.address,
                flaws: record.flaws.iter().map(ToString::to_string).collect(),
            });
            KeptAs {
                version: &kept.version,
                records: records.collect(),
            }
        });
        Self {
            versions: versions.collect(),
            without_layout: &settings.without_layout,
        }
    }
}
