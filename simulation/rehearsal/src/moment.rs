//! When, in a change of a memory, power fails.

/// When, in a change, power failed; inside it, with what outcome.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Moment<T> {
    /// Just before it.
    Before,
    /// Inside it.
    Inside(T),
    /// Just after it.
    After,
}
