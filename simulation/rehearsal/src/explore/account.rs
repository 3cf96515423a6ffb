//! The account of a story: its steps in numbered passages, with long uneventful stretches told in one.

use super::story::{ChangeKind, ComesTo, Step, Story};

/// So many uneventful steps in a row, and more, are told in one passage.
const STRETCH_MIN: usize = 4;

/// One or more steps of a story, in plain words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passage {
    /// Number of its first step, from 0.
    pub first: usize,
    /// Number of its last step: the same as the first, but for a stretch.
    pub last: usize,
    /// What happens.
    pub text: String,
}

impl Passage {
    /// The numbers as people count: "7", or "7 to 45".
    pub fn numbers(&self) -> String {
        match self.first == self.last {
            true => format!("{}", self.first + 1),
            false => format!("{} to {}", self.first + 1, self.last + 1),
        }
    }
}

impl Story {
    /// The whole story, for people.
    pub fn account(&self) -> Vec<Passage> {
        let mut passages = Vec::new();
        let mut at = 0;
        while let Some(step) = self.steps.get(at) {
            let length = self.steps[at..].iter().take_while(|step| is_uneventful(step)).count();
            // The last of them says where the unit stands when something happens: it is told by itself.
            let stretch = length.saturating_sub(1);
            if stretch >= STRETCH_MIN {
                passages.push(Passage {
                    first: at,
                    last: at + stretch - 1,
                    text: self.stretch(&self.steps[at..at + stretch]),
                });
                at += stretch;
            } else {
                passages.push(Passage {
                    first: at,
                    last: at,
                    text: self.sentence(step),
                });
                at += 1;
            }
        }
        passages
    }

    /// Uneventful steps, in one sentence.
    fn stretch(&self, steps: &[Step]) -> String {
        let kinds = steps.iter().filter_map(|step| match step {
            Step::Runs {
                comes_to: ComesTo::Change(kind),
                ..
            } => Some(*kind),
            _ => None,
        });
        let (erases, programs): (Vec<_>, Vec<_>) = kinds.partition(|kind| matches!(kind, ChangeKind::Erase(_)));
        let mut asked = Vec::new();
        let cells: Vec<_> = erases.iter().map(|kind| self.cells(*kind)).collect();
        let bases = || cells.iter().map(|cells| cells.base);
        if let (Some(low), Some(high)) = (bases().min(), bases().max()) {
            let name = self.named(&cells);
            asked.push(match erases.as_slice() {
                [erase] => erase.words() + &name,
                many => format!(
                    "{} erases of sectors from {low:#010x} to {high:#010x}{name}",
                    many.len()
                ),
            });
        }
        let cells: Vec<_> = programs.iter().map(|kind| self.cells(*kind)).collect();
        let low = cells.iter().map(|cells| cells.base).min();
        let end = cells.iter().map(|cells| cells.end()).max();
        if let (Some(low), Some(end)) = (low, end) {
            let name = self.named(&cells);
            asked.push(match programs.as_slice() {
                [program] => program.words() + &name,
                many => format!("{} programs between {low:#010x} and {end:#010x}{name}", many.len()),
            });
        }
        format!(
            "{} changes are carried out, one after another; the unit goes on to {}.",
            steps.len(),
            asked.join(" and ")
        )
    }
}

/// A change is carried out, and the unit goes on to the next.
fn is_uneventful(step: &Step) -> bool {
    let Step::Runs {
        stick: None,
        happened,
        comes_to: ComesTo::Change(_),
    } = step
    else {
        return false;
    };
    happened.is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(kind: ChangeKind) -> Step {
        Step::Runs {
            stick: None,
            happened: Vec::new(),
            comes_to: ComesTo::Change(kind),
        }
    }

    #[test]
    fn long_stretches_are_told_in_one() {
        let mut steps = vec![Step::Begin("new".to_owned())];
        steps.extend((0..3).map(|page| on(ChangeKind::Erase(page * 1024))));
        steps.extend((0..4).map(|part| on(ChangeKind::Program(part * 512, 512))));
        steps.push(Step::Cut(ChangeKind::Program(1536, 512), crate::moment::Moment::After));
        let account = Story::of(steps, Vec::new()).account();
        let numbers: Vec<_> = account.iter().map(Passage::numbers).collect();
        assert_eq!(numbers, ["1", "2 to 7", "8", "9"]);
        assert_eq!(
            account[1].text,
            "6 changes are carried out, one after another; the unit goes on to 3 erases of sectors from 0x00000000 to 0x00000800 \
             and 3 programs between 0x00000000 and 0x00000600."
        );
        assert!(account[2].text.contains("0x00000600"), "{}", account[2].text);
    }

    #[test]
    fn one_of_a_kind_is_told_as_such() {
        let mut steps = vec![on(ChangeKind::Erase(1024))];
        steps.extend((0..4).map(|part| on(ChangeKind::Program(part * 512, 512))));
        steps.push(on(ChangeKind::Program(2048, 8)));
        let account = Story::of(steps, Vec::new()).account();
        assert!(
            account[0].text.contains(
                "goes on to an erase of the sector at 0x00000400 and 4 programs between 0x00000000 and 0x00000800."
            ),
            "{}",
            account[0].text
        );
    }

    #[test]
    fn short_stretches_are_told_step_by_step() {
        let steps = (0..4).map(|page| on(ChangeKind::Erase(page * 1024))).collect();
        assert_eq!(Story::of(steps, Vec::new()).account().len(), 4);
    }
}
