//! What settings would be if power never failed: carried over from version to version, with what was kept aside.

use super::Version;
use packstaff_keeper::carry::{Aside, carry};
use packstaff_keeper::table::Table;

/// A unit's settings, as they ought to be.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ideal {
    /// The version whose layout they have, by its number in the plan.
    pub version: usize,
    /// The settings; `None` for a unit that has none.
    pub value: Option<Vec<u8>>,
    /// What is kept aside: a newer version, and its settings.
    pub aside: Option<(usize, Vec<u8>)>,
}

fn find<'a>(tables: impl Iterator<Item = &'a [u8]>, from: u16, to: u16) -> Option<Table<'a>> {
    tables
        .filter_map(Table::new)
        .find(|table| table.from == from && table.to == to)
}

/// The tables of a version's ways back, each behind its length.
fn ways(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        let (len, behind) = rest.split_first_chunk::<2>()?;
        let (table, behind) = behind.split_at_checked(usize::from(u16::from_le_bytes(*len)))?;
        rest = behind;
        Some(table)
    })
}

impl Ideal {
    /// The same settings with another version installed; `None` where there is no way.
    pub fn under(&self, versions: &[Version], to: usize, keeps_aside: bool) -> Option<Self> {
        let Some(value) = &self.value else {
            return Some(Self {
                version: to,
                ..self.clone()
            });
        };
        let (old, new) = (versions.get(self.version)?, versions.get(to)?);
        if old.layout == new.layout {
            return Some(Self {
                version: to,
                ..self.clone()
            });
        }
        let mut made = vec![0; usize::from(new.len)];
        if let Some(table) = find(new.tables.iter().map(Vec::as_slice), old.layout, new.layout) {
            let kept = self.aside.as_ref().filter(|(version, _)| *version == to && keeps_aside);
            let mut left = vec![0; usize::from(old.len)];
            let aside = kept.and_then(|(_, newer)| {
                let back = find(ways(&new.ways_back), new.layout, old.layout)?;
                carry(&back, newer, None, &mut left, |_| ()).ok()?;
                Some(Aside { newer, left: &left })
            });
            carry(&table, value, aside, &mut made, |_| ()).ok()?;
            return Some(Self {
                version: to,
                value: Some(made),
                aside: None,
            });
        }
        if !keeps_aside {
            return None;
        }
        let back = find(ways(&old.ways_back), old.layout, new.layout)?;
        carry(&back, value, None, &mut made, |_| ()).ok()?;
        Some(Self {
            version: to,
            value: Some(made),
            aside: Some((self.version, value.clone())),
        })
    }
}
