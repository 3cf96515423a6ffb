//! A plan: everything about going from one version's layout to another's.

use super::convert::{Converted, Deed, Terms, convert, default_bytes};
use super::fate::{Change, Fate, Lost, LostPart, Outcome};
use super::history::{History, Link, by_own_code, is_setting};
use super::resolve::Way as Conversion;
use super::table::{self, Step};
use super::{Carrier, CarryError};
use crate::Ratio;
use crate::layout::{ByteOrder, Kind, Layout, Leaf, Number, Purpose, Shape, Stored, Way};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// Going from one version's settings to another's.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The version that they are of.
    pub from: String,
    /// The version that they become.
    pub to: String,
    /// Up or down.
    pub way: Way,
    /// Who carries them over in a unit.
    pub carrier: Carrier,
    /// The fields of the layout gone to.
    pub fates: Vec<Fate>,
    /// The fields of the layout come from that are lost.
    pub lost: Vec<Lost>,
    /// The carry-over table that does all this (see `packstaff_keeper::table`).
    pub table: Vec<u8>,
}

impl Plan {
    /// How many fields are kept, converted, defaulted, and lost.
    pub fn counts(&self) -> [usize; 4] {
        let with = |outcome| self.fates.iter().filter(|fate| fate.outcome == outcome).count();
        [
            with(Outcome::Kept),
            with(Outcome::Converted),
            with(Outcome::Defaulted),
            self.lost.len(),
        ]
    }
}

impl History {
    /// Works out what becomes of settings between two versions.
    ///
    /// # Errors
    /// A version has no layout, or a rule cannot be followed.
    pub fn plan(&self, from: &str, to: &str) -> Result<Plan, CarryError> {
        let (from, to) = (self.position(from)?, self.position(to)?);
        let way = if from <= to { Way::Up } else { Way::Down };
        let links = self.oriented(from, to, way)?;
        let builder = Builder {
            history: self,
            known: RefCell::default(),
            leaves: RefCell::default(),
            positions: (from, to),
            from: self.at(from)?,
            to: self.at(to)?,
            way,
            links,
        };
        builder.build()
    }

    fn oriented(&self, from: usize, to: usize, way: Way) -> Result<Vec<Link>, CarryError> {
        if from == to {
            let layout = self.at(from)?;
            let mut links = Vec::new();
            for (index, leaf) in layout.leaves().iter().enumerate() {
                if let Some(way) = Conversion::between(leaf, leaf, &crate::layout::Conversion::Known)?
                    && is_setting(leaf)
                {
                    links.push(Link {
                        old: index,
                        new: index,
                        way,
                        clamp: false,
                        by_rule: false,
                    });
                }
            }
            return Ok(links);
        }
        match way {
            Way::Up => self.links(from, to),
            Way::Down => {
                let mut links: Vec<Link> = Vec::new();
                for link in self.links(to, from)? {
                    let Some(way) = link.way.back() else { continue };
                    links.push(Link {
                        old: link.new,
                        new: link.old,
                        way,
                        ..link
                    });
                }
                links.sort_by_key(|link| link.new);
                // Two new fields made from one old one: the first gives it back.
                links.dedup_by_key(|link| link.new);
                Ok(links)
            }
        }
    }

    fn carrier(&self, from: &Layout, to: &Layout, way: Way) -> Carrier {
        if from.number == to.number {
            return Carrier::Unchanged;
        }
        let statement =
            |newer: &Layout, older: &str| newer.carries.iter().find(|carry| carry.version == older).cloned();
        match way {
            Way::Up if !by_own_code(to) => Carrier::Keeper,
            Way::Up if statement(to, &from.version).is_some() => Carrier::Firmware,
            Way::Up => Carrier::Nobody { because: None },
            Way::Down if !by_own_code(to) && !by_own_code(from) => Carrier::Keeper,
            Way::Down => Carrier::Nobody {
                because: statement(from, &to.version).and_then(|carry| carry.left),
            },
        }
    }
}

/// Of an older version and a newer one in the history.
type Positions = (usize, usize);

struct Builder<'h> {
    history: &'h History,
    /// Links between two versions are wanted for many fields.
    known: RefCell<BTreeMap<Positions, Rc<[Link]>>>,
    /// So are leaves.
    leaves: RefCell<BTreeMap<usize, Rc<[Leaf<'h>]>>>,
    positions: (usize, usize),
    from: &'h Layout,
    to: &'h Layout,
    way: Way,
    links: Vec<Link>,
}

impl<'h> Builder<'h> {
    fn links(&self, old: usize, new: usize) -> Result<Rc<[Link]>, CarryError> {
        if let Some(known) = self.known.borrow().get(&(old, new)) {
            return Ok(Rc::clone(known));
        }
        let links: Rc<[Link]> = self.history.links(old, new)?.into();
        self.known.borrow_mut().insert((old, new), Rc::clone(&links));
        Ok(links)
    }

    fn leaves(&self, position: usize) -> Result<Rc<[Leaf<'h>]>, CarryError> {
        if let Some(known) = self.leaves.borrow().get(&position) {
            return Ok(Rc::clone(known));
        }
        let leaves: Rc<[Leaf<'h>]> = self.history.at(position)?.leaves().into();
        self.leaves.borrow_mut().insert(position, Rc::clone(&leaves));
        Ok(leaves)
    }

    fn build(&self) -> Result<Plan, CarryError> {
        let old = self.from.leaves();
        let new = self.to.leaves();
        let by_new: BTreeMap<usize, &Link> = self.links.iter().map(|link| (link.new, link)).collect();
        let mut steps = Vec::new();
        let mut fates: Vec<Fate> = Vec::new();
        let mut values = BTreeMap::new();
        let mut unfit = BTreeSet::new();
        let newer_keeps_aside = self.way == Way::Up && self.to.memory.aside.is_some();
        for (index, leaf) in new.iter().enumerate() {
            if !is_setting(leaf) {
                self.frame(leaf, &mut steps);
                continue;
            }
            let linked = by_new.get(&index).and_then(|link| Some((*link, old.get(link.old)?)));
            let mut done = None;
            if let Some((link, source)) = linked {
                let allowed = self.allowance(&source.name)?.is_some();
                let terms = Terms {
                    clamp: link.clamp,
                    allowed,
                    turned: self.from.order != self.to.order,
                };
                match convert(source, leaf, &link.way, terms) {
                    Ok(converted) => done = Some((link, source, converted)),
                    Err(why) if link.by_rule => {
                        return Err(CarryError::Rule {
                            old: source.name.clone(),
                            new: leaf.name.clone(),
                            why,
                        });
                    }
                    Err(_) => {
                        unfit.insert(link.old);
                    }
                }
            }
            let at = offset(leaf.at);
            let mut becomes = None;
            match &done {
                Some((_, source, converted)) => {
                    for deed in &converted.deeds {
                        let keep = newer_keeps_aside && !matches!(deed, Deed::Copy { .. });
                        steps.push(Step {
                            from: offset(source.at),
                            to: at,
                            deed: deed.clone(),
                            keep,
                        });
                    }
                    if let Some(words) = &converted.misfits {
                        values.insert(source.name.clone(), words.clone());
                    }
                }
                None => {
                    let stored = self.filler(self.positions.0, self.positions.1, leaf)?;
                    let bytes = default_bytes(leaf, stored, self.to.order == ByteOrder::Big);
                    becomes = Some(crate::dump::shown(
                        &leaf.field.shape,
                        &bytes,
                        self.to.order == ByteOrder::Big,
                    ));
                    // What no operation writes is zero; but what is kept aside must be written to be given back.
                    if newer_keeps_aside || bytes.iter().any(|byte| *byte != 0) {
                        steps.push(Step {
                            from: 0,
                            to: at,
                            deed: Deed::Put { bytes },
                            keep: newer_keeps_aside,
                        });
                    }
                }
            }
            let came = done.as_ref().map(|(_, source, converted)| (*source, converted));
            note_fate(&mut fates, leaf, came, becomes);
        }
        self.checks(&new, &mut steps);
        for fate in &mut fates {
            grown(fate, &old, &new);
        }
        let lost = self.lost(&old, &new, &values, &unfit)?;
        let table = table::write(self.from, self.to, &steps)?;
        Ok(Plan {
            from: self.from.version.clone(),
            to: self.to.version.clone(),
            way: self.way,
            carrier: self.history.carrier(self.from, self.to, self.way),
            fates,
            lost,
            table,
        })
    }

    /// Bytes that are no settings: constants and spare bytes.
    fn frame(&self, leaf: &Leaf<'_>, steps: &mut Vec<Step>) {
        let big = self.to.order == ByteOrder::Big;
        let bytes = match (leaf.purpose, &leaf.field.shape) {
            (Purpose::Constant(value), Shape::Number(number)) => {
                crate::dump::number_bytes(number.repr, Stored::Integer(i128::from(value)), big)
            }
            (Purpose::Spare(fill), _) => vec![fill; leaf.size as usize],
            _ => return,
        };
        if bytes.iter().any(|byte| *byte != 0) {
            steps.push(Step {
                from: 0,
                to: offset(leaf.at),
                deed: Deed::Put { bytes },
                keep: false,
            });
        }
    }

    /// Check values come last: the innermost first, since others cover them.
    fn checks(&self, new: &[Leaf<'_>], steps: &mut Vec<Step>) {
        let mut checks: Vec<(u32, Step)> = Vec::new();
        for leaf in new {
            if let Purpose::Crc { start, size } = leaf.purpose {
                let begin = leaf.group_at.saturating_add(start);
                let step = Step {
                    from: 0,
                    to: offset(leaf.at),
                    deed: Deed::Crc {
                        start: i32::from(offset(begin)) - i32::from(offset(leaf.at)),
                        len: offset(size),
                    },
                    keep: false,
                };
                checks.push((size, step));
            }
        }
        checks.sort_by_key(|(size, step)| (*size, step.to));
        steps.extend(checks.into_iter().map(|(_, step)| step));
    }

    /// What a field that nothing comes to becomes, where that is not a new unit's default.
    fn filler(&self, from: usize, to: usize, leaf: &Leaf<'_>) -> Result<Option<Stored>, CarryError> {
        if from >= to {
            return Ok(None);
        }
        let (older, newer) = (self.history.at(from)?, self.history.at(to)?);
        let stated = newer.carries.iter().find(|carry| carry.version == older.version);
        if let Some(set) = stated.and_then(|carry| carry.sets.iter().find(|set| set.field == leaf.name)) {
            return Ok(Some(set.value));
        }
        let middle = to - 1;
        if middle <= from || stated.is_some_and(|carry| !carry.pairs.is_empty()) {
            return Ok(None);
        }
        let before = self.history.at(middle)?;
        let (leaves, new) = (self.leaves(middle)?, self.leaves(to)?);
        let links = self.links(middle, to)?;
        let link = links
            .iter()
            .find(|link| new.get(link.new).is_some_and(|other| other.path == leaf.path));
        let Some((link, source)) = link.and_then(|link| leaves.get(link.old).map(|source| (link, source))) else {
            let stated = newer.carries.iter().find(|carry| carry.version == before.version);
            let set = stated.and_then(|carry| carry.sets.iter().find(|set| set.field == leaf.name));
            return Ok(set.map(|set| set.value));
        };
        let stored = match (self.filler(from, middle, source)?, &source.field.shape) {
            (Some(stored), _) => stored,
            (None, Shape::Number(number)) => number.default,
            _ => return Ok(None),
        };
        Ok(apply(&link.way, stored, source, leaf))
    }

    /// The maker's reason for losing this field of the layout come from, if there is one.
    fn allowance(&self, field: &str) -> Result<Option<String>, CarryError> {
        let (from, to) = self.positions;
        self.allowance_between(field, from, to)
    }

    fn allowance_between(&self, field: &str, from: usize, to: usize) -> Result<Option<String>, CarryError> {
        if from == to {
            return Ok(None);
        }
        let (older, newer) = (from.min(to), from.max(to));
        let stated = |older: usize, newer: usize, field: &str| -> Result<Option<String>, CarryError> {
            let version = &self.history.at(older)?.version;
            let carry = self
                .history
                .at(newer)?
                .carries
                .iter()
                .find(|carry| carry.version == *version);
            let within =
                |outer: &str| field == outer || field.strip_prefix(outer).is_some_and(|rest| rest.starts_with('.'));
            let loss = carry.and_then(|carry| {
                carry
                    .losses
                    .iter()
                    .find(|loss| loss.way == self.way && within(&loss.field))
            });
            Ok(loss.map(|loss| loss.because.clone()))
        };
        if let Some(reason) = stated(older, newer, field)? {
            return Ok(Some(reason));
        }
        if newer - older < 2 {
            return Ok(None);
        }
        // One version on, and from there with the name that the field has then.
        let next = if from < to { from + 1 } else { from - 1 };
        if let Some(reason) = stated(from.min(next), from.max(next), field)? {
            return Ok(Some(reason));
        }
        let links = self.links(from.min(next), from.max(next))?;
        let (here, there) = (self.leaves(from)?, self.leaves(next)?);
        let named = links.iter().find_map(|link| {
            let (own, other) = if from < next {
                (link.old, link.new)
            } else {
                (link.new, link.old)
            };
            let (own, other) = (here.get(own)?, there.get(other)?);
            (own.name == field).then(|| other.name.clone())
        });
        match named {
            Some(name) => self.allowance_between(&name, next, to),
            None => Ok(None),
        }
    }

    fn lost(
        &self,
        old: &[Leaf<'_>],
        new: &[Leaf<'_>],
        values: &BTreeMap<String, String>,
        unfit: &BTreeSet<usize>,
    ) -> Result<Vec<Lost>, CarryError> {
        let carried: BTreeSet<usize> = self
            .links
            .iter()
            .filter(|link| new.get(link.new).is_some() && !unfit.contains(&link.old))
            .map(|link| link.old)
            .collect();
        let mut fields: Vec<Losing<'_>> = Vec::new();
        for (index, leaf) in old.iter().enumerate() {
            if !is_setting(leaf) {
                continue;
            }
            let position = fields.iter().position(|other| other.leaf.name == leaf.name);
            let position = position.unwrap_or_else(|| {
                fields.push(Losing::new(leaf));
                fields.len() - 1
            });
            if let Some(field) = fields.get_mut(position) {
                field.note(leaf, carried.contains(&index));
            }
        }
        let aside = self.way == Way::Down && self.from.memory.aside.is_some();
        let mut lost = Vec::new();
        for field in fields {
            let leaf = field.leaf;
            let Purpose::Setting(kind) = leaf.purpose else { continue };
            let mut parts: Vec<LostPart> = field.part().into_iter().collect();
            if let Some(words) = values.get(&leaf.name) {
                parts.push(LostPart::Values(words.clone()));
            }
            for what in parts {
                lost.push(Lost {
                    field: leaf.name.clone(),
                    means: means(leaf),
                    kind,
                    what,
                    because: self.allowance(&leaf.name)?,
                    aside,
                });
            }
        }
        Ok(lost)
    }
}

/// A field of the layout come from, and how much of it is carried over.
struct Losing<'l> {
    leaf: &'l Leaf<'l>,
    /// Elements carried over, and all there are.
    elements: (usize, usize),
    /// The same for each array on the way, outermost first.
    lengths: Vec<(usize, usize)>,
}

impl<'l> Losing<'l> {
    fn new(leaf: &'l Leaf<'l>) -> Self {
        Self {
            leaf,
            elements: (0, 0),
            lengths: vec![(0, 0); leaf.indices.len()],
        }
    }

    fn note(&mut self, leaf: &Leaf<'_>, carried: bool) {
        self.elements.0 += usize::from(carried);
        self.elements.1 += 1;
        for ((kept, of), index) in self.lengths.iter_mut().zip(&leaf.indices) {
            let length = *index as usize + 1;
            *of = length.max(*of);
            if carried {
                *kept = length.max(*kept);
            }
        }
    }

    fn part(&self) -> Option<LostPart> {
        match self.elements {
            (0, _) => Some(LostPart::Whole),
            (kept, of) if kept == of => None,
            (kept, of) => {
                // The innermost array that is cut says it best: 8 of 16 steps, and not 48 of 96.
                let cut = self.lengths.iter().rev().find(|(kept, of)| kept < of);
                let (kept, of) = cut.copied().unwrap_or((kept, of));
                Some(LostPart::Beyond { kept, of })
            }
        }
    }
}

/// A stored number through a conversion, where it stays a whole number in the new range.
fn apply(way: &Conversion, stored: Stored, from: &Leaf<'_>, to: &Leaf<'_>) -> Option<Stored> {
    let (Shape::Number(from), Shape::Number(to)) = (&from.field.shape, &to.field.shape) else {
        return None;
    };
    let made = match (way, stored) {
        (Conversion::Names(pairs), Stored::Integer(value)) => {
            Stored::Integer(pairs.iter().find(|(is, _)| *is == value)?.1)
        }
        (Conversion::Affine { factor, offset, .. }, Stored::Integer(value)) if !to.repr.is_real() => {
            let meant = Ratio::whole(value).times(from.scale())?.times(*factor)?.plus(*offset)?;
            let steps = meant.over(to.scale())?;
            // Half away from zero, as keeper rounds.
            let half = Ratio::new(if steps < Ratio::ZERO { -1 } else { 1 }, 2)?;
            let moved = steps.plus(half)?;
            Stored::Integer(moved.numerator() / moved.denominator())
        }
        (Conversion::Affine { factor, offset, .. }, value) => {
            let value = match value {
                Stored::Integer(value) => Ratio::whole(value).as_f64() * from.scale().as_f64(),
                Stored::Real(value) => value,
            };
            let meant = value * factor.as_f64() + offset.as_f64();
            to.repr.is_real().then_some(Stored::Real(meant))?
        }
        _ => return None,
    };
    Number::allows(to, made).then_some(made)
}

fn offset(value: u32) -> u16 {
    // A record has at most 65535 bytes.
    u16::try_from(value).unwrap_or(u16::MAX)
}

fn means(leaf: &Leaf<'_>) -> String {
    leaf.field.means.clone().unwrap_or_else(|| leaf.name.clone())
}

fn note_fate(fates: &mut Vec<Fate>, leaf: &Leaf<'_>, done: Option<(&Leaf<'_>, &Converted)>, becomes: Option<String>) {
    let Purpose::Setting(kind) = leaf.purpose else { return };
    let position = fates
        .iter()
        .position(|fate| fate.field == leaf.name)
        .unwrap_or_else(|| {
            fates.push(Fate {
                field: leaf.name.clone(),
                means: means(leaf),
                was: None,
                kind,
                outcome: Outcome::Defaulted,
                changes: Vec::new(),
                // A secret's default is nobody's business either.
                becomes: becomes.clone().filter(|_| kind != Kind::Secret),
                elements: (0, 0),
            });
            fates.len() - 1
        });
    let Some(fate) = fates.get_mut(position) else { return };
    fate.elements.1 += 1;
    let Some((source, converted)) = done else { return };
    fate.elements.0 += 1;
    if fate.was.is_some() {
        return;
    }
    fate.was = Some(source.name.clone());
    fate.becomes = None;
    fate.outcome = if converted.changes.is_empty() {
        Outcome::Kept
    } else {
        Outcome::Converted
    };
    fate.changes = converted.changes.clone();
    if source.name != leaf.name {
        fate.changes.push(Change::Renamed);
    }
    if source.at != leaf.at {
        fate.changes.push(Change::Moved {
            from: source.at,
            to: leaf.at,
        });
    }
}

/// Where an array has more elements than before, the innermost one that grew.
fn grown(fate: &mut Fate, old: &[Leaf<'_>], new: &[Leaf<'_>]) {
    let Some(was) = &fate.was else { return };
    let lengths = |leaves: &[Leaf<'_>], name: &str| {
        let mut longest: Vec<usize> = Vec::new();
        for leaf in leaves.iter().filter(|leaf| leaf.name == *name) {
            longest.resize(longest.len().max(leaf.indices.len()), 0);
            for (length, index) in longest.iter_mut().zip(&leaf.indices) {
                *length = (*length).max(*index as usize + 1);
            }
        }
        longest
    };
    let (before, now) = (lengths(old, was), lengths(new, &fate.field));
    let change = before.iter().zip(&now).rev().find(|(before, now)| before < now);
    if let (Some((before, now)), true) = (change, before.len() == now.len()) {
        fate.changes.push(Change::Grown {
            from: *before,
            to: *now,
        });
    }
}
