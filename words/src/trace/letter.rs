//! The account, for the owner: what happened, what can hurt, what to do, in plain words.
//!
//! The reader is not technical and may be beside something dangerous. What the product can do to people comes before the steps, with
//! the cautions of the owner's sheet; and nothing is promised that was not tried.

use super::versions;
use crate::reasons::{Language, explain};
use crate::sheet::cautions_for;
use crate::text::{capital, sentence};
use packstaff_bench::Bench;
use packstaff_bench::trace::{SettingsSeen, Traced};
use packstaff_installer::Reason;
use packstaff_trace::{Account, FileState, Fix, Hypothesis, Inconsistency, Outcome, Work};

/// Characters in a line.
const WIDTH: usize = 92;

/// A letter to the owner.
pub fn letter(bench: &Bench, traced: &Traced) -> String {
    let letter = Letter {
        bench,
        account: &traced.account,
        settings: traced.settings.as_ref(),
    };
    let mut out = vec![paragraph("Thank you for writing, and for what you sent.")];
    if let Some(question) = letter.which_board() {
        out.extend([question, letter.help()]);
        return laid_out(&out);
    }
    out.push(letter.what_happened());
    let fix = letter.account.repair.send().filter(|_| letter.sends_a_stick());
    if fix.is_some() || letter.starts_alone() {
        out.extend([letter.cautions(), letter.steps(fix), letter.afterwards()]);
    } else {
        out.push(paragraph(
            "Please leave the unit as it is, and do not try another stick for now: we will look into it and write again.",
        ));
    }
    out.push(letter.help());
    laid_out(&out)
}

/// One thing in a paragraph, which begins a line.
enum Item {
    /// As it is.
    Line(String),
    /// Of a list.
    Point(String),
    /// Of a list of steps, from 1.
    Step(usize, String),
}

type Paragraph = Vec<Item>;

fn paragraph(text: &str) -> Paragraph {
    vec![Item::Line(text.to_owned())]
}

fn lines(texts: Vec<String>) -> Paragraph {
    texts.into_iter().map(Item::Line).collect()
}

fn laid_out(paragraphs: &[Paragraph]) -> String {
    let laid = paragraphs.iter().filter(|items| !items.is_empty()).map(|items| {
        let lines: Vec<_> = items.iter().flat_map(Item::lines).collect();
        lines.join("\n")
    });
    laid.collect::<Vec<_>>().join("\n\n") + "\n"
}

struct Letter<'a> {
    bench: &'a Bench,
    account: &'a Account,
    settings: Option<&'a SettingsSeen>,
}

impl Letter<'_> {
    fn first(&self) -> Option<&Hypothesis> {
        self.account.flash.as_ref()?.hypotheses.first()
    }

    /// The unit starts a version by itself, as far as was read.
    fn starts_alone(&self) -> bool {
        self.account.repair.needed == Some(false)
    }

    /// The unit showed that it has nothing to start, whatever was read.
    fn says_it_waits(&self) -> bool {
        self.account.code.is_some_and(packstaff_trace::has_nothing_to_start)
    }

    fn sends_a_stick(&self) -> bool {
        !self.starts_alone() || self.says_it_waits()
    }

    /// What to tell the board of the account by, in the maker's words.
    fn recognise(&self) -> &str {
        let board = self.bench.product.board(&self.account.board);
        board.map_or("", |board| &board.recognise)
    }

    /// Before a file is sent that may be for another board, the owner is asked.
    fn which_board(&self) -> Option<Paragraph> {
        let mut found = self.account.inconsistencies.iter();
        if !found.any(|found| matches!(found, Inconsistency::AnotherBoard { .. })) {
            return None;
        }
        let mut asked = vec![Item::Line(format!(
            "What you sent does not seem to be of a {} with board {}. Please leave the unit as it is, and tell us which board it has:",
            self.bench.product.name, self.account.board
        ))];
        let boards = self.bench.product.boards.iter();
        asked.extend(boards.map(|board| Item::Point(format!("Board {}: {}", board.revision, board.recognise))));
        Some(asked)
    }

    fn what_happened(&self) -> Paragraph {
        let product = &self.bench.product.name;
        let mut said: Vec<String> = self
            .of_flash()
            .into_iter()
            .chain(self.code())
            .chain(self.stick())
            .collect();
        if said.is_empty() {
            said.push(format!(
                "From what you sent we cannot see yet what is wrong with your {product}."
            ));
        }
        lines(said)
    }

    /// What the likeliest hypothesis says.
    fn of_flash(&self) -> Option<String> {
        let product = &self.bench.product.name;
        let likeliest = self.first();
        let alone = self.starts_alone() && !self.says_it_waits();
        match likeliest.map(|likeliest| likeliest.work) {
            Some(Work::Nothing | Work::Recording) if alone => Some(format!(
                "What we read from your {product} is in order: version {} is there, complete.",
                likeliest.map_or(String::new(), |likeliest| versions(&likeliest.installing))
            )),
            Some(Work::Damaged) => Some(format!(
                "The stored version in your {product} is damaged, and an interrupted update does not explain it. We would like to \
                 know more: please tell us what happened before."
            )),
            Some(_) if alone => Some(format!(
                "An update of your {product} was interrupted: power went off, or the stick was taken out. The unit still has a complete \
                 version, and goes on with it by itself."
            )),
            Some(Work::Nothing) if !self.says_it_waits() => Some(format!(
                "Your {product} has no version to start yet. It waits for a stick with an update file."
            )),
            Some(_) if self.account.next.as_ref().is_some_and(|next| !next.certain) => Some(format!(
                "From the part of your {product}'s memory that we have seen, we cannot tell whether it has a complete version. The steps \
                 below help in either case."
            )),
            Some(Work::Writing | Work::Erasing | Work::Recording) => Some(format!(
                "An update of your {product} was interrupted: power went off, or the stick was taken out, before {} was complete. The \
                 unit does not start half a version: it waits for a stick. Doing the update again puts that right.",
                self.interrupted()
            )),
            Some(Work::Nothing) | None => None,
        }
    }

    fn interrupted(&self) -> String {
        let all = self
            .account
            .flash
            .as_ref()
            .map(|flash| flash.hypotheses.as_slice())
            .unwrap_or_default();
        match all.split_first() {
            Some((first, rest))
                if first.installing.len() == 1 && rest.iter().all(|other| other.installing == first.installing) =>
            {
                format!("version {}", versions(&first.installing))
            }
            _ => "the new version".to_owned(),
        }
    }

    fn code(&self) -> Option<String> {
        let reason = self.account.code?;
        let explained = explain(reason, Language::English);
        let means = format!(
            "The code {} on the display means: {}.",
            reason.code(),
            explained.owner.cause.full
        );
        // What a unit without a version needs is what the steps below are about.
        Some(match self.says_it_waits() {
            true => means,
            false => format!("{means} {}", explained.owner.remedy.full),
        })
    }

    fn stick(&self) -> Option<String> {
        let stick = self.account.stick.as_ref()?;
        if let Some(why) = stick.unreadable {
            return Some(self.advice(why.reason()));
        }
        let damaged = stick.files.iter().any(|file| {
            matches!(
                file.state,
                FileState::Damaged { .. } | FileState::Refused(_) | FileState::Unreadable(_)
            )
        });
        if damaged {
            return Some(
                "A file on your stick is damaged or incomplete. Copy it again from what we send you, and eject the stick on the computer \
                 before you pull it out."
                    .to_owned(),
            );
        }
        let every = stick.shows.iter().all(|shown| !shown.offers.is_empty());
        let offered = stick
            .shows
            .first()
            .map(|shown| shown.offers.join(", "))
            .unwrap_or_default();
        Some(match every {
            true => format!("Your stick is in order: your unit can use version {offered} from it."),
            false => "There is no file on your stick that this unit can use.".to_owned(),
        })
    }

    /// What is wrong with the stick, and what to do.
    fn advice(&self, reason: Reason) -> String {
        // The code on the display has said it already.
        if self.account.code == Some(reason) {
            return "The image of your stick shows the same.".to_owned();
        }
        let explained = explain(reason, Language::English);
        format!(
            "{} {}",
            sentence(&explained.owner.cause.full),
            explained.owner.remedy.full
        )
    }

    fn cautions(&self) -> Paragraph {
        let mut said = vec![Item::Line("Before anything else, please read this:".to_owned())];
        let cautions = cautions_for(&self.bench.product.hazards).into_iter();
        said.extend(cautions.map(|caution| {
            Item::Point(format!(
                "{}: {}. {}",
                caution.signal.word(),
                caution.headline,
                caution.text
            ))
        }));
        said.push(Item::Line(
            "This list cannot be complete: your manual, local codes and licensed people come first. If you are not sure, stop and ask us."
                .to_owned(),
        ));
        said
    }

    fn steps(&self, fix: Option<&Fix>) -> Paragraph {
        let owner = &self.bench.product.owner;
        let screens = &self.bench.product.screens;
        let mut steps = vec![owner.disconnect.clone()];
        let Some(fix) = fix else {
            let shows = self.account.next.as_ref().map(|next| match &next.at_best {
                Outcome::Starts { release: Some(id), .. } => format!("It starts version {id}."),
                _ => "It starts its version.".to_owned(),
            });
            steps.push("Take out the stick, and switch the unit on.".to_owned());
            steps.push(format!(
                "{} {} Leave power on until it has.",
                shows.unwrap_or_default(),
                "That can take longer than usual if it has something to finish."
            ));
            return numbered("What to do:", steps);
        };
        if !self.says_it_waits() && self.account.repair.needed.is_none() {
            steps.push(format!(
                "Switch the unit on without a stick. If it starts as usual, you need do nothing more. If it shows `{}`, go on:",
                screens.waiting.replace("{reason}", &Reason::NoImage.code().to_string())
            ));
        }
        steps.push(format!(
            "Copy the file {} that comes with this letter to the top of a stick, not into a folder, and eject the stick on the computer. \
             It is for board {} alone. How to tell: {}",
            fix.file, self.account.board, self.recognise()
        ));
        steps.push(owner.begin.clone());
        steps.push(format!(
            "The unit asks `{}`: say yes. Leave power and stick alone until it shows `{}`.",
            screens.choose.replace("{version}", &fix.release.version),
            screens.done.replace("{version}", &fix.release.version)
        ));
        numbered("What to do:", steps)
    }

    fn afterwards(&self) -> Paragraph {
        let owner = &self.bench.product.owner;
        lines(vec![
            format!("Afterwards: {}", owner.after),
            owner.version_screen.clone(),
            match self.settings.map(|seen| seen.whole().next().is_some()) {
                Some(true) => "We have read the memory with your settings and the unit's calibration: a complete copy of them is there.",
                Some(false) => {
                    "In what we have read of the memory with your settings and the unit's calibration there is no complete copy of them. \
                     Do not use the unit before you have set and checked all of them, or have heard from us."
                }
                None => {
                    "An update does not touch the memory with your settings and the unit's calibration. We have not looked at that memory: \
                     please check them before you use the unit."
                }
            }
            .to_owned(),
        ])
    }

    fn help(&self) -> Paragraph {
        let stop = "If it does not go as described, stop, and write down what the display shows.";
        let product = &self.bench.product;
        lines(vec![
            format!("{stop} {}", product.owner.help),
            product.maker.name.clone(),
        ])
    }
}

fn numbered(title: &str, steps: Vec<String>) -> Paragraph {
    let steps = steps.into_iter().filter(|step| !step.is_empty()).zip(1..);
    let steps = steps.map(|(step, number)| Item::Step(number, capital(&step)));
    [Item::Line(title.to_owned())].into_iter().chain(steps).collect()
}

impl Item {
    /// Its lines; those of a list's item are set in, all but the first.
    fn lines(&self) -> Vec<String> {
        let (text, indent) = match self {
            Self::Line(text) => (text.clone(), ""),
            Self::Point(text) => (format!("- {text}"), "   "),
            Self::Step(number, text) => (format!("{number}. {text}"), "   "),
        };
        let mut lines = Vec::<String>::new();
        for word in text.split_whitespace() {
            match lines.last_mut() {
                Some(line) if line.chars().count() + 1 + word.chars().count() <= WIDTH => {
                    line.push(' ');
                    line.push_str(word);
                }
                Some(_) => lines.push(format!("{indent}{word}")),
                None => lines.push(word.to_owned()),
            }
        }
        lines
    }
}
