//! Progress: from every world, with a good stick and no more cuts, the picked version runs after a bounded number of changes.

use std::collections::{HashMap, HashSet};

/// Where a patient owner's unit goes from a node.
pub(super) enum Calm {
    /// To another node.
    Goes(u128),
    /// Nowhere else: whether it has arrived, and what it says.
    Ends(bool, String),
}

/// What came of following every world.
pub(super) struct Alive {
    /// Most changes of flash until the picked version runs.
    pub(super) changes_max: usize,
    stuck: Vec<(u128, String)>,
}

impl Alive {
    /// The world that is stuck and has the shortest story.
    pub(super) fn stuck_first(self, length: impl Fn(u128) -> usize) -> Option<(u128, String)> {
        self.stuck.into_iter().min_by_key(|(key, _)| (length(*key), *key))
    }
}

pub(super) fn resolve(calm: &HashMap<u128, Calm>, worlds: impl Iterator<Item = u128>) -> Alive {
    let mut known = HashMap::<u128, Result<usize, String>>::new();
    let mut alive = Alive {
        changes_max: 0,
        stuck: Vec::new(),
    };
    for world in worlds {
        match follow(calm, &mut known, world) {
            Ok(changes) => alive.changes_max = alive.changes_max.max(changes),
            Err(why) => alive.stuck.push((world, why)),
        }
    }
    alive
}

fn follow(
    calm: &HashMap<u128, Calm>,
    known: &mut HashMap<u128, Result<usize, String>>,
    start: u128,
) -> Result<usize, String> {
    let mut path = Vec::new();
    let mut here = start;
    let mut on_path = HashSet::new();
    let end = loop {
        if let Some(known) = known.get(&here) {
            break known.clone();
        }
        if !on_path.insert(here) {
            break Err("it goes round in circles".to_owned());
        }
        path.push(here);
        match calm.get(&here) {
            Some(Calm::Goes(next)) => here = *next,
            Some(Calm::Ends(true, _)) => break Ok(0),
            Some(Calm::Ends(false, end)) => break Err(end.clone()),
            None => break Err("nothing follows".to_owned()),
        }
    };
    // Each step of the path is a change of flash, but for the last when it ends there.
    let mut ahead = end;
    for (index, node) in path.iter().rev().enumerate() {
        let ends_here = index == 0 && matches!(calm.get(node), Some(Calm::Ends(..)));
        ahead = ahead.map(|changes| changes + usize::from(!ends_here));
        known.insert(*node, ahead.clone());
    }
    ahead
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chains_are_counted_and_circles_are_found() {
        let calm = HashMap::from([
            (1, Calm::Goes(2)),
            (2, Calm::Goes(3)),
            (3, Calm::Ends(true, String::new())),
            (4, Calm::Goes(5)),
            (5, Calm::Goes(4)),
            (6, Calm::Ends(false, "waits".to_owned())),
        ]);
        let alive = resolve(&calm, [1, 2, 3].into_iter());
        assert_eq!(alive.changes_max, 2);
        assert!(alive.stuck.is_empty());
        let stuck = resolve(&calm, [1, 4, 6, 7].into_iter());
        let mut why: Vec<_> = stuck.stuck.iter().map(|(key, why)| (*key, why.as_str())).collect();
        why.sort_unstable();
        assert_eq!(
            why,
            [(4, "it goes round in circles"), (6, "waits"), (7, "nothing follows")]
        );
    }
}
