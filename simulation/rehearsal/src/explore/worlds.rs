//! What an exploration reaches, each with the shortest story that leads to it.

use super::loader::Loader;
use super::story::{Story, tell};
use super::{Exploration, Explorer, Plan, Unfinished};

/// Explores everything, and tells the shortest story to each node, shorter ones first: to each world with power off, and to each
/// powered loader that is about to change flash, where the story's last step comes to that change.
///
/// [`replay`](super::replay()) gives the worlds of a story as their cells are. Worlds that an exploration does not tell apart, such
/// as all those that cuts inside one program leave where nobody will read what was programmed, are one node here; a story to a
/// powered loader, with a cut added to it, leads to each of them.
///
/// # Errors
/// Why there is no answer.
pub fn stories<S: Loader>(loader: &S, plan: &Plan<'_>) -> Result<(Exploration, Vec<Story>), Unfinished> {
    let explorer = Explorer::new(loader, plan);
    let names = explorer.names();
    let mut stories = Vec::new();
    let found = explorer.run(&|_| (), &mut |origins| {
        let mut keys: Vec<_> = origins.keys().copied().collect();
        keys.sort_unstable();
        stories = keys.into_iter().map(|key| tell(origins, key, None, &names)).collect();
        // Of stories of one length the order is that of the nodes' sums: the same at every run.
        stories.sort_by_key(Story::len);
    })?;
    Ok((found, stories))
}
