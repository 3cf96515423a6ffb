//! What is told of a finding beside its kind: numbers, for people. A unit shows a code and nothing more, so there they take no
//! room: errors of one byte instead of 24 make its code a kilobyte smaller.

/// A number that goes with a finding.
#[cfg(not(target_os = "none"))]
pub type Detail<T> = T;

#[cfg(not(target_os = "none"))]
pub(crate) const fn detail<T: Copy>(value: T) -> Detail<T> {
    value
}

/// A number that goes with a finding, and is not kept on a unit.
#[cfg(target_os = "none")]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Detail<T>(core::marker::PhantomData<T>);

#[cfg(target_os = "none")]
pub(crate) const fn detail<T: Copy>(_: T) -> Detail<T> {
    Detail(core::marker::PhantomData)
}
