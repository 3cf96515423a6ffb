//! What may go wrong in an exploration, and how far it may go.

use packstaff_rehearsal::explore::Faults;

/// What may go wrong in an exploration, and how far it may go.
#[derive(Clone, Debug)]
pub struct Limits {
    /// What may go wrong.
    pub faults: Faults,
    /// How far it may go.
    pub bound: Bound,
}

/// How far an exploration may go before it is given up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// So many nodes.
    Nodes(usize),
    /// As many nodes as fit into so many bytes of memory.
    Memory(u64),
}

impl Bound {
    /// The most nodes, where each takes so many bytes of memory.
    pub fn nodes(self, node_bytes: usize) -> usize {
        match self {
            Self::Nodes(nodes) => nodes,
            Self::Memory(bytes) => usize::try_from(bytes / node_bytes.max(1) as u64).unwrap_or(usize::MAX),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn larger_nodes_are_fewer() {
        assert_eq!(Bound::Memory(1 << 20).nodes(1 << 10), 1 << 10);
        assert_eq!(Bound::Memory(1 << 20).nodes(0), 1 << 20);
        assert_eq!(Bound::Nodes(7).nodes(1 << 10), 7);
    }
}
