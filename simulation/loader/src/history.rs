//! A loader's memory since power came on, as the explorer keeps it: what it was answered.
//!
//! A loader in the sandbox has no clock, no chance and no memory of earlier boots, so that the answers since power-up settle
//! everything about it. A sum over the answers stands for them where states are compared.

use crate::fault::LoaderFault;
use packstaff_installer::Phase;
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::SumKey;
use std::hash::{Hash, Hasher};
use std::sync::Arc;

/// One answer, and those before it.
struct Link {
    answer: Answer,
    before: Option<Arc<Link>>,
}

impl Drop for Link {
    /// One after the other: a long history, dropped by its links, would use up the stack.
    fn drop(&mut self) {
        let mut next = self.before.take();
        while let Some(mut link) = next.and_then(Arc::into_inner) {
            next = link.before.take();
        }
    }
}

/// What a loader was answered since power came on.
#[derive(Clone)]
pub struct History {
    sum: u128,
    answers: u32,
    last: Option<Arc<Link>>,
    /// Whether it asked for a stick.
    asked_for_stick: bool,
    /// Whether it changed flash.
    changed: bool,
    /// How often it began to read the stick anew, and the block that it read last.
    passes: u32,
    block: Option<u64>,
    pub(crate) fault: Option<Arc<LoaderFault>>,
}

impl PartialEq for History {
    fn eq(&self, other: &Self) -> bool {
        self.sum == other.sum
    }
}

impl Eq for History {}

impl Hash for History {
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        self.sum.hash(hasher);
    }
}

impl History {
    /// None yet.
    pub(crate) fn begin(key: &SumKey) -> Self {
        Self {
            sum: key.hash(&"power on"),
            answers: 0,
            last: None,
            asked_for_stick: false,
            changed: false,
            passes: 0,
            block: None,
            fault: None,
        }
    }

    /// A sum that stands for all answers.
    pub(crate) fn sum(&self) -> u128 {
        self.sum
    }

    /// How many answers.
    pub(crate) fn len(&self) -> u32 {
        self.answers
    }

    /// One more answer.
    pub(crate) fn push(&mut self, answer: &Answer, key: &SumKey) {
        self.sum = key.hash(&(self.sum, portrait(answer)));
        self.answers = self.answers.saturating_add(1);
        self.last = Some(Arc::new(Link {
            answer: answer.clone(),
            before: self.last.take(),
        }));
    }

    /// All answers, the oldest first.
    pub(crate) fn answers(&self) -> Vec<&Answer> {
        let links = std::iter::successors(self.last.as_deref(), |link| link.before.as_deref());
        let mut answers: Vec<_> = links.map(|link| &link.answer).collect();
        answers.reverse();
        answers
    }

    /// Takes note of what the loader asks for next.
    pub(crate) fn note(&mut self, wish: &Wish) {
        match wish {
            Wish::FindStick => self.asked_for_stick = true,
            Wish::Change(_) => {
                self.changed = true;
                self.block = None;
            }
            Wish::ReadStick(block) => {
                if self.passes == 0 || self.block.is_none_or(|last| *block <= last) {
                    self.passes = self.passes.saturating_add(1);
                }
                self.block = Some(*block);
            }
            _ => {}
        }
    }

    /// What the unit is doing, as far as its calls tell: a new phase begins with each new pass over the stick, which is when the
    /// explorer may swap it.
    pub(crate) fn phase(&self) -> Phase {
        match (self.asked_for_stick, self.changed, self.passes % 2) {
            (_, true, 0) => Phase::Program,
            (_, true, _) => Phase::Confirm,
            (false, false, _) => Phase::Inspect,
            (true, false, 0) => Phase::Check,
            (true, false, _) => Phase::Survey,
        }
    }
}

/// An answer in a form that can be hashed: no two answers share one.
fn portrait(answer: &Answer) -> (u8, u64, &[u8]) {
    match answer {
        Answer::NoStick => (0, 0, &[]),
        Answer::Stick(blocks) => (1, *blocks, &[]),
        Answer::Block(block) => (2, 0, block.as_slice()),
        Answer::Flash(bytes) => (3, 0, bytes),
        Answer::Digest(digest) => (4, 0, digest),
        Answer::Blank(blank) => (5, u64::from(*blank), &[]),
        Answer::Chosen(None) => (6, 0, &[]),
        Answer::Chosen(Some(row)) => (7, *row as u64, &[]),
        Answer::Done => (8, 0, &[]),
        Answer::Failed => (9, 0, &[]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn histories_differ_by_what_was_answered_and_in_which_order() {
        let key = SumKey::fixed();
        let of = |answers: &[Answer]| {
            let mut history = History::begin(&key);
            answers.iter().for_each(|answer| history.push(answer, &key));
            history
        };
        let flash = |byte| Answer::Flash(vec![byte; 8]);
        let all = [
            of(&[]),
            of(&[Answer::Done]),
            of(&[Answer::Failed]),
            of(&[Answer::Done, Answer::Failed]),
            of(&[Answer::Failed, Answer::Done]),
            of(&[flash(1), flash(2)]),
            of(&[flash(2), flash(1)]),
            of(&[Answer::Flash(vec![1; 16])]),
            of(&[Answer::Stick(0)]),
            of(&[Answer::NoStick]),
        ];
        for (index, one) in all.iter().enumerate() {
            assert!(all.iter().skip(index + 1).all(|other| one != other), "{index}");
        }
        assert!(of(&[flash(1), Answer::Done]) == of(&[flash(1), Answer::Done]));
        assert_eq!(of(&[flash(7), Answer::Done]).answers(), [&flash(7), &Answer::Done]);
    }

    #[test]
    fn a_long_history_is_dropped_without_recursion() {
        let key = SumKey::fixed();
        let mut history = History::begin(&key);
        (0..1_000_000).for_each(|_| history.push(&Answer::Done, &key));
        assert_eq!(history.len(), 1_000_000);
        drop(history);
    }

    #[test]
    fn each_pass_over_the_stick_is_a_phase_of_its_own() {
        let mut history = History::begin(&SumKey::fixed());
        let mut phases = vec![history.phase()];
        let erase = Wish::Change(packstaff_unit::flash::Change::Erase { address: 0 });
        for wish in [
            Wish::FindStick,
            Wish::ReadStick(0),
            Wish::ReadStick(1),
            Wish::ReadStick(1),
            Wish::ReadStick(2),
            erase,
            Wish::ReadStick(5),
        ] {
            history.note(&wish);
            phases.push(history.phase());
        }
        use Phase::{Check, Confirm, Inspect, Program, Survey};
        assert_eq!(phases, [Inspect, Check, Survey, Survey, Check, Check, Program, Confirm]);
    }
}
