//! The account, for the owner: what happened, what can hurt, what to do, in plain words.
//!
//! The reader is not technical and may be beside something dangerous. What the product can do to people comes before the steps, with
//! the cautions of the owner's sheet; and nothing is promised that was not tried.

use super::SettingsSeen;
use super::words::{capital, versions};
use packstaff_bench::open::Bench;
use packstaff_product::Board;
use packstaff_trace::{Account, Course, FileState, Fix, Outcome, Work};
use packstaff_words::sheet::cautions_for;

/// Characters in a line.
const WIDTH: usize = 92;

/// A letter to the owner.
pub fn reply(bench: &Bench, board: &Board, account: &Account, settings: Option<&SettingsSeen>) -> String {
    let letter = Letter {
        bench,
        board,
        account,
        settings,
    };
    let mut paragraphs = vec![vec!["Thank you for writing, and for what you sent.".to_owned()]];
    if let Some(question) = letter.which_board() {
        paragraphs.extend([question, letter.help()]);
        return laid_out(paragraphs);
    }
    paragraphs.push(letter.what_happened());
    let fix = account.repair.send().filter(|_| letter.sends_a_stick());
    let acts = fix.is_some() || letter.starts_alone();
    if acts {
        paragraphs.push(letter.cautions());
        paragraphs.push(letter.steps(fix));
        paragraphs.push(letter.afterwards());
    } else {
        paragraphs.push(vec![
            "Please leave the unit as it is, and do not try another stick for now: we will look into it and write again.".to_owned(),
        ]);
    }
    paragraphs.push(letter.help());
    laid_out(paragraphs)
}

fn laid_out(paragraphs: Vec<Vec<String>>) -> String {
    let paragraphs = paragraphs.into_iter().filter(|lines| !lines.is_empty()).map(|lines| {
        lines
            .iter()
            .flat_map(|line| wrapped(line))
            .collect::<Vec<_>>()
            .join("\n")
    });
    paragraphs.collect::<Vec<_>>().join("\n\n") + "\n"
}

struct Letter<'a> {
    bench: &'a Bench,
    board: &'a Board,
    account: &'a Account,
    settings: Option<&'a SettingsSeen>,
}

impl Letter<'_> {
    fn first(&self) -> Option<&Course> {
        self.account.flash.as_ref()?.courses.first()
    }

    /// The unit starts a version by itself, as far as was read.
    fn starts_alone(&self) -> bool {
        self.account.repair.needed == Some(false)
    }

    /// The unit showed that it has nothing to start, whatever was read.
    fn says_it_waits(&self) -> bool {
        self.account
            .code
            .as_ref()
            .is_some_and(|code| ["U1", "U2", "U6"].contains(&code.code.as_str()))
    }

    fn sends_a_stick(&self) -> bool {
        !self.starts_alone() || self.says_it_waits()
    }

    /// Before a file is sent that may be for another board, the owner is asked.
    fn which_board(&self) -> Option<Vec<String>> {
        self.account
            .misfits
            .iter()
            .find(|misfit| misfit.id == "another-board")?;
        let mut lines = vec![format!(
            "What you sent does not seem to be of a {} with board {}. Please leave the unit as it is, and tell us which board it has:",
            self.bench.product.name, self.board.revision
        )];
        let boards = self.bench.product.boards.iter();
        lines.extend(boards.map(|board| format!("- Board {}: {}", board.revision, board.recognise)));
        Some(lines)
    }

    fn what_happened(&self) -> Vec<String> {
        let product = &self.bench.product.name;
        let mut said = Vec::new();
        let course = self.first();
        let alone = self.starts_alone() && !self.says_it_waits();
        match course.map(|course| course.work) {
            Some(Work::Nothing | Work::Recording) if alone => said.push(format!(
                "What we read from your {product} is in order: version {} is there, complete.",
                course.map_or(String::new(), |course| versions(&course.installing))
            )),
            Some(Work::Damaged) => said.push(format!(
                "The stored version in your {product} is damaged, and an interrupted update does not explain it. We would like to \
                 know more: please tell us what happened before."
            )),
            Some(_) if alone => said.push(format!(
                "An update of your {product} was interrupted: power went off, or the stick was taken out. The unit still has a complete \
                 version, and goes on with it by itself."
            )),
            Some(Work::Nothing) if !self.says_it_waits() => said.push(format!(
                "Your {product} has no version to start yet. It waits for a stick with an update file."
            )),
            Some(_) if self.account.next.as_ref().is_some_and(|next| !next.certain) => said.push(format!(
                "From the part of your {product}'s memory that we have seen, we cannot tell whether it has a complete version. The steps \
                 below help in either case."
            )),
            Some(Work::Writing | Work::Erasing | Work::Recording) => said.push(format!(
                "An update of your {product} was interrupted: power went off, or the stick was taken out, before {} was complete. The \
                 unit does not start half a version: it waits for a stick. Doing the update again puts that right.",
                self.interrupted()
            )),
            Some(Work::Nothing) | None => {}
        }
        said.extend(self.code());
        said.extend(self.stick());
        if said.is_empty() {
            said.push(format!(
                "From what you sent we cannot see yet what is wrong with your {product}."
            ));
        }
        said
    }

    fn interrupted(&self) -> String {
        let same = |course: &Course| course.installing.clone();
        let courses = self
            .account
            .flash
            .as_ref()
            .map(|flash| flash.courses.as_slice())
            .unwrap_or_default();
        match courses.split_first() {
            Some((first, rest))
                if first.installing.len() == 1 && rest.iter().all(|other| same(other) == same(first)) =>
            {
                format!("version {}", versions(&first.installing))
            }
            _ => "the new version".to_owned(),
        }
    }

    fn code(&self) -> Option<String> {
        let code = self.account.code.as_ref()?;
        let means = format!(
            "The code {} on the display means: {}.",
            code.code,
            code.meaning.trim_end_matches('.')
        );
        // What a unit without a version needs is what the steps below are about.
        Some(match self.says_it_waits() {
            true => means,
            false => format!("{means} {}", code.remedy),
        })
    }

    fn stick(&self) -> Option<String> {
        let stick = self.account.stick.as_ref()?;
        if stick.unreadable.is_some() {
            return Some(
                "The unit cannot read your stick. Please take another one, or format it as FAT32: that erases everything on it, so copy \
                 what you want to keep first."
                    .to_owned(),
            );
        }
        let damaged = stick
            .files
            .iter()
            .any(|file| matches!(file.state, FileState::Damaged { .. } | FileState::Refused { .. }));
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

    fn cautions(&self) -> Vec<String> {
        let mut lines = vec!["Before anything else, please read this:".to_owned()];
        let cautions = cautions_for(&self.bench.product.hazards).into_iter();
        lines.extend(
            cautions.map(|caution| format!("- {}: {}. {}", caution.signal.word(), caution.headline, caution.text)),
        );
        lines.push(
            "This list cannot be complete: your manual, local codes and licensed people come first. If you are not sure, stop and ask us."
                .to_owned(),
        );
        lines
    }

    fn steps(&self, fix: Option<&Fix>) -> Vec<String> {
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
                screens.waiting.replace("{reason}", "U1")
            ));
        }
        steps.push(format!(
            "Copy the file {} that comes with this letter to the top of a stick, not into a folder, and eject the stick on the computer. \
             It is for board {} alone. How to tell: {}",
            fix.file, self.board.revision, self.board.recognise
        ));
        steps.push(owner.begin.clone());
        steps.push(format!(
            "The unit asks `{}`: say yes. Leave power and stick alone until it shows `{}`.",
            screens.choose.replace("{version}", &fix.release.version),
            screens.done.replace("{version}", &fix.release.version)
        ));
        numbered("What to do:", steps)
    }

    fn afterwards(&self) -> Vec<String> {
        let owner = &self.bench.product.owner;
        vec![
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
        ]
    }

    fn help(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "If it does not go as described, stop, and write down what the display shows. {}",
            self.bench.product.owner.help
        )];
        lines.push(self.bench.product.maker.name.clone());
        lines
    }
}

fn numbered(title: &str, steps: Vec<String>) -> Vec<String> {
    let steps = steps.into_iter().filter(|step| !step.is_empty()).enumerate();
    let steps = steps.map(|(index, step)| format!("{}. {}", index + 1, capital(&step)));
    [title.to_owned()].into_iter().chain(steps).collect()
}

/// Lines of a paragraph; those of a list's item are set in.
fn wrapped(text: &str) -> Vec<String> {
    let item = text.starts_with("- ")
        || text
            .split_once(". ")
            .is_some_and(|(number, _)| number.bytes().all(|byte| byte.is_ascii_digit()));
    let indent = if item { "   " } else { "" };
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
