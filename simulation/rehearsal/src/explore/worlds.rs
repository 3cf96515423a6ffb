//! What an exploration reaches, each with the shortest story that leads to it.

use super::loader::Loader;
use super::model::Explorer;
use super::plan::{Exploration, Plan, Unfinished};
use super::story::Story;

/// Explores everything, and tells the shortest story to each node, shorter ones first: to each world with power off, and to each
/// powered loader that is about to change flash, where the story's last step comes to that change.
///
/// [`replay`](super::replay()) gives the worlds of a story as their cells are. Worlds that an exploration does not tell apart, such
/// as all those that cuts inside one program leave where nobody will read what was programmed, are one node here; a story to a
/// powered loader, with a cut added to it, leads to each of them.
///
/// # Errors
/// Why there is no answer.
pub fn stories<L: Loader>(loader: &L, plan: &Plan<'_>) -> Result<(Exploration, Vec<Story>), Unfinished> {
    let explorer = Explorer::new(loader, plan);
    let (found, tree) = explorer.explore(&|_| ())?;
    let keys = tree.keys().into_iter();
    let mut stories: Vec<_> = keys.map(|key| Story::of(tree.story(key), explorer.names())).collect();
    // Of stories of one length the order is that of the nodes' sums: the same at every run.
    stories.sort_by_key(Story::len);
    Ok((found, stories))
}
