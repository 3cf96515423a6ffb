//! Liveness: distinguished paths, followed to their ends, and the longest of them. What a path is and what a step of it costs is
//! the model's to say; a rehearsal counts changes of flash.

use crate::sums::{SumMap, SumSet};

/// Where a path leads from a state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Next {
    /// To another state.
    To { key: u128, cost: u32 },
    /// To its goal.
    Goal { cost: u32 },
    /// No further.
    End { why: String },
}

/// Why a path does not come to its goal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stuck {
    /// It ends elsewhere, for this reason.
    Ends(String),
    /// It comes back to where it was.
    Circle,
    /// It comes to a state from which it does not lead on.
    DeadEnd,
}

/// One kind of path through all states.
#[derive(Debug, Default)]
pub(crate) struct Paths {
    next: SumMap<Next>,
    from: Vec<u128>,
}

/// What came of following it from every state that must come to its goal.
#[derive(Debug, Default)]
pub(crate) struct Followed {
    /// The highest cost of a way to the goal.
    pub(crate) longest: u64,
    pub(crate) stuck: Vec<(u128, Stuck)>,
}

impl Paths {
    pub(crate) fn set(&mut self, key: u128, next: Next) {
        self.next.insert(key, next);
    }

    pub(crate) fn must_arrive(&mut self, key: u128) {
        self.from.push(key);
    }

    pub(crate) fn follow(&self) -> Followed {
        let mut known = SumMap::default();
        let mut followed = Followed::default();
        for start in &self.from {
            match self.follow_from(*start, &mut known) {
                Ok(cost) => followed.longest = followed.longest.max(cost),
                Err(why) => followed.stuck.push((*start, why)),
            }
        }
        followed
    }

    /// The cost from a state to the goal. What was found out of states on the way is remembered in `known`.
    fn follow_from(&self, start: u128, known: &mut SumMap<Result<u64, Stuck>>) -> Result<u64, Stuck> {
        let mut way = Vec::new();
        let mut on_way = SumSet::default();
        let mut here = start;
        let end = loop {
            if let Some(known) = known.get(&here) {
                break known.clone();
            }
            if !on_way.insert(here) {
                break Err(Stuck::Circle);
            }
            let (end, cost) = match self.next.get(&here) {
                Some(Next::To { key, cost }) => {
                    way.push((here, *cost));
                    here = *key;
                    continue;
                }
                Some(Next::Goal { cost }) => (Ok(0), *cost),
                Some(Next::End { why }) => (Err(Stuck::Ends(why.clone())), 0),
                None => (Err(Stuck::DeadEnd), 0),
            };
            way.push((here, cost));
            break end;
        };
        let mut ahead = end;
        for (key, cost) in way.into_iter().rev() {
            ahead = ahead.map(|ahead| ahead.saturating_add(u64::from(cost)));
            known.insert(key, ahead.clone());
        }
        ahead
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn costs_add_up_and_every_way_to_be_stuck_is_told() {
        let mut paths = Paths::default();
        let to = |key, cost| Next::To { key, cost };
        paths.set(1, to(2, 1));
        paths.set(2, to(3, 5));
        paths.set(3, Next::Goal { cost: 2 });
        paths.set(4, to(5, 1));
        paths.set(5, to(4, 1));
        paths.set(
            6,
            Next::End {
                why: "waits".to_owned(),
            },
        );
        paths.set(8, to(6, 1));
        paths.set(9, to(9, 1));
        [3, 1, 2, 4, 6, 7, 8, 9]
            .into_iter()
            .for_each(|key| paths.must_arrive(key));
        let followed = paths.follow();
        assert_eq!(followed.longest, 8);
        let waits = || Stuck::Ends("waits".to_owned());
        assert_eq!(
            followed.stuck,
            [
                (4, Stuck::Circle),
                (6, waits()),
                (7, Stuck::DeadEnd),
                (8, waits()),
                (9, Stuck::Circle)
            ]
        );
    }
}
