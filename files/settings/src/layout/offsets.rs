//! Offsets by C's rules, where a layout file does not give them.
//!
//! Source: Procedure Call Standard for the Arm Architecture (AAPCS32), 5.3: a struct is aligned like its most aligned
//! member, each member lies at the lowest offset behind the one before it that its alignment allows, and the size is
//! filled up to a multiple of the struct's alignment.

/// The lowest multiple of `align` that is not below `position`. `align` is a power of two.
pub(super) fn align_up(position: u32, align: u32) -> Option<u32> {
    let mask = align.checked_sub(1)?;
    Some(position.checked_add(mask)? & !mask)
}

/// Where the next member lies, and the struct's alignment so far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Packing {
    packed: bool,
    end: u32,
    align: u32,
}

impl Packing {
    pub(super) const fn new(packed: bool) -> Self {
        Self {
            packed,
            end: 0,
            align: 1,
        }
    }

    /// End of the last member.
    pub(super) const fn end(self) -> u32 {
        self.end
    }

    pub(super) const fn align(self) -> u32 {
        self.align
    }

    /// Where C puts the next member of this alignment.
    pub(super) fn next(self, align: u32) -> Option<u32> {
        align_up(self.end, self.effective(align))
    }

    /// Whether C could put a member of this alignment there.
    pub(super) const fn allows(self, at: u32, align: u32) -> bool {
        at.is_multiple_of(self.effective(align))
    }

    pub(super) fn put(&mut self, at: u32, size: u32, align: u32) -> Option<()> {
        self.end = at.checked_add(size)?;
        self.align = self.align.max(self.effective(align));
        Some(())
    }

    /// The struct's size by C's rules.
    pub(super) fn size(self) -> Option<u32> {
        align_up(self.end, self.align)
    }

    const fn effective(self, align: u32) -> u32 {
        if self.packed { 1 } else { align }
    }
}
