//! One board revision: its place in the class identifiers, its memory map, its parts, its build.

use crate::flash::Flash;
use crate::identity::{Uuid, class_id};
use crate::second_place::{self, SecondPlace};
use packstaff_document::{Entry, Problem, Range, Section, nearest, range_of};
use packstaff_parts::PartsTable;

pub(crate) const KEYS: &[&str] = &[
    "revision",
    "model",
    "recognise",
    "part",
    "core",
    "settings_memory",
    "build",
    "supply",
    "installer",
    "floor",
    "slot",
    "stage",
    "stage_memory",
    "second_slot",
    "ram",
    "reserved",
];
const SUPPLY_KEYS: &[&str] = &["millivolts", "hold_up_ms"];
const RESERVED_KEYS: &[&str] = &["start", "size", "use"];

/// A board revision.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Board {
    /// The revision, as the maker calls it.
    pub revision: String,
    /// What tells this revision's units from all others: the name part of the class identifier.
    pub model: String,
    /// How an owner recognises the revision without a tool.
    pub recognise: String,
    /// The class identifier.
    pub class: Uuid,
    /// The microcontroller, by its identifier in the parts table.
    pub part: String,
    /// Its core.
    pub core: String,
    /// The settings memory, by its identifier in the parts table.
    pub settings_memory: String,
    /// Path of a version's build, from the product folder, with `{version}` for the version text.
    pub build: String,
    /// The supply of the microcontroller.
    pub supply: Supply,
    /// Where everything lies.
    pub map: MemoryMap,
}

/// The supply of the microcontroller.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Supply {
    /// Nominal voltage in millivolts.
    pub millivolts: u32,
    /// How long the supply holds up after the mains or battery is cut, in milliseconds.
    pub hold_up_ms: u32,
}

/// Where everything lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryMap {
    /// The installer: never written by an install.
    pub installer: Range,
    /// The two sectors that hold the floor.
    pub floor: [Range; 2],
    /// The slot: one image and its descriptor.
    pub slot: Range,
    /// What there is beside the slot.
    pub second: SecondPlace,
    /// Working memory.
    pub ram: Range,
    /// Ranges that belong to something else.
    pub reserved: Vec<Reserved>,
}

/// A range that belongs to something else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reserved {
    /// The range.
    pub range: Range,
    /// What it is for.
    pub purpose: String,
}

impl Board {
    /// Path of the build of a version, from the product folder, with `/` between its parts.
    pub fn build_path(&self, version: &str) -> String {
        self.build.replace("{version}", version)
    }
}

/// What a range has to be made of.
#[derive(Clone, Copy)]
pub(crate) enum Makeup {
    WholeSectors,
    OneSector,
    Anything,
    /// Whole sectors of the stage's own memory.
    StageSectors,
}

/// A range with its name and its place in the document.
pub(crate) struct Named {
    pub(crate) name: String,
    pub(crate) range: Range,
    pub(crate) span: std::ops::Range<usize>,
    pub(crate) makeup: Makeup,
}

impl Named {
    pub(crate) fn does_not_fit(&self, section: &Section<'_, '_>, part: &str, why: String) {
        let problem = Problem::Unsuitable {
            subject: self.name.clone(),
            message: format!("{} ({}) does not fit the part `{part}`: {why}", self.name, self.range),
            advice: "Correct the range by the part's reference manual, or name the part that is really fitted."
                .to_owned(),
        };
        section.notes().add(self.span.clone(), problem);
    }
}

pub(crate) fn read(section: &Section<'_, '_>, vendor: Option<&Uuid>, parts: Option<&PartsTable>) -> Option<Board> {
    let revision = section.value("revision").and_then(|entry| revision(&entry));
    let model = section.value("model").and_then(|entry| entry.text());
    let recognise = section.value("recognise").and_then(|entry| entry.text());
    let build = section.value("build").and_then(|entry| build_template(&entry));
    let supply = section.value("supply").and_then(|entry| supply(&entry));
    let part_entry = section.value("part");
    let part = part_entry.as_ref().and_then(Entry::text);
    let core_entry = section.value("core");
    let core = core_entry.as_ref().and_then(Entry::text);
    let memory_entry = section.value("settings_memory");
    let settings_memory = memory_entry.as_ref().and_then(Entry::text);

    let title = |what: &str| format!("board {}: {what}", revision.as_deref().unwrap_or("?"));
    let mut named = Vec::new();
    let mut range = |entry: Option<Entry<'_, '_>>, what: &str, makeup: Makeup| {
        let entry = entry?;
        let range = entry.range()?;
        named.push(Named {
            name: title(what),
            range,
            span: entry.span(),
            makeup,
        });
        Some(range)
    };
    let installer = range(section.value("installer"), "installer", Makeup::WholeSectors);
    let floor = section.value("floor").and_then(|entry| {
        let members = entry.list()?;
        let [first, second] = members.as_slice() else {
            return entry.refuse(
                "a list of two ranges",
                "The floor is kept twice: name the two sectors that hold it.",
            );
        };
        let first = range(Some(first.clone()), "first floor sector", Makeup::OneSector);
        let second = range(Some(second.clone()), "second floor sector", Makeup::OneSector);
        Some([first?, second?])
    });
    let slot = range(section.value("slot"), "slot", Makeup::WholeSectors);
    let second = second_place::read(section, &mut range);
    let ram = range(section.value("ram"), "ram", Makeup::Anything);
    let reserved = section
        .sections("reserved", "the reserved range", RESERVED_KEYS)
        .into_iter()
        .map(|member| {
            let purpose = member.value("use").and_then(|entry| entry.text());
            let range = range_of(&member, "reserved")?;
            let purpose = purpose?;
            let name = title(&format!("range reserved for {purpose}"));
            named.push(Named {
                name,
                range,
                span: member.span(),
                makeup: Makeup::Anything,
            });
            Some(Reserved { range, purpose })
        });
    let reserved: Option<Vec<Reserved>> = reserved.collect();
    refuse_overlaps(section, &named);

    if let (Some(parts), Some(id), Some(entry)) = (parts, &part, &part_entry) {
        match parts.flash(id) {
            None => unknown_part(entry, "part", "the parts table as a microcontroller", id, parts),
            Some(part) => {
                let flash = Flash::of(part);
                fit(section, &named, &flash);
                if let Some(SecondPlace::Stage {
                    memory: Some(memory), ..
                }) = &second
                {
                    second_place::fit_memory(section, &named, memory, &flash, parts);
                }
                if let (Some(entry), Some(core)) = (&core_entry, &core)
                    && *core != flash.core()
                {
                    let _: Option<()> = entry.refuse(
                        format!("the core of {id}, {:?}", flash.core()),
                        "Correct the core, or name the part that is really fitted.",
                    );
                }
            }
        }
    }
    if let (Some(parts), Some(id), Some(entry)) = (parts, &settings_memory, &memory_entry)
        && parts.settings_memory(id).is_none()
    {
        unknown_part(
            entry,
            "settings_memory",
            "the parts table as a settings memory",
            id,
            parts,
        );
    }

    let model = model?;
    let class = class_id(vendor?, &model);
    Some(Board {
        revision: revision?,
        model,
        recognise: recognise?,
        class,
        part: part?,
        core: core?,
        settings_memory: settings_memory?,
        build: build?,
        supply: supply?,
        map: MemoryMap {
            installer: installer?,
            floor: floor?,
            slot: slot?,
            second: second?,
            ram: ram?,
            reserved: reserved?,
        },
    })
}

fn revision(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let fits = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'.';
    if text.is_empty() || text.len() > 8 || !text.bytes().all(fits) {
        return entry.refuse(
            "1 to 8 letters, digits, points or hyphens",
            "Write it as it is printed on the board, such as \"C\" or \"2.1\".",
        );
    }
    Some(text.to_owned())
}

fn supply(entry: &Entry<'_, '_>) -> Option<Supply> {
    let section = entry.section("the supply", SUPPLY_KEYS)?;
    let millivolts = section
        .value("millivolts")
        .and_then(|entry| entry.integer_u32(500..=60_000));
    let hold_up_ms = section
        .value("hold_up_ms")
        .and_then(|entry| entry.integer_u32(0..=3_600_000));
    Some(Supply {
        millivolts: millivolts?,
        hold_up_ms: hold_up_ms?,
    })
}

fn build_template(entry: &Entry<'_, '_>) -> Option<String> {
    let text = relative_path(entry)?;
    let named = text.matches("{version}").count();
    if named == 0 || text.replace("{version}", "").contains(['{', '}']) {
        return entry.refuse(
            "a path with {version} in it and no other braces",
            "Write {version} where the version text stands, such as \"built/{version}/c.elf\".",
        );
    }
    Some(text)
}

/// A path inside the product folder: relative, `/` between its parts, no way out of the folder.
pub(crate) fn relative_path(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.text()?;
    let plain = |part: &str| !part.is_empty() && part != "." && part != "..";
    if text.contains(['\\', ':']) || !text.split('/').all(plain) {
        return entry.refuse(
            "a path inside the product folder",
            "Write it from the product folder down, with / between folders and without `..`.",
        );
    }
    Some(text)
}

fn refuse_overlaps(section: &Section<'_, '_>, named: &[Named]) {
    for (index, one) in named.iter().enumerate() {
        for other in named.iter().take(index) {
            if let Some(shared) = one.range.shared_with(other.range) {
                let problem = Problem::Overlap {
                    one: one.name.clone(),
                    other: other.name.clone(),
                    shared,
                };
                section.notes().add(one.span.clone(), problem);
            }
        }
    }
}

fn fit(section: &Section<'_, '_>, named: &[Named], flash: &Flash<'_>) {
    for one in named {
        let why = match one.makeup {
            Makeup::WholeSectors => flash.against_whole_sectors(one.range),
            Makeup::OneSector => flash.against_one_sector(one.range),
            Makeup::Anything | Makeup::StageSectors => None,
        };
        if let Some(why) = why {
            one.does_not_fit(section, flash.id(), why);
        }
    }
}

pub(crate) fn unknown_part(entry: &Entry<'_, '_>, key: &'static str, list: &'static str, id: &str, parts: &PartsTable) {
    let near = nearest(id, parts.parts().map(|part| part.id.as_str()))
        .filter(|near| *near != id)
        .map(str::to_owned);
    let problem = Problem::UnknownName {
        key,
        value: format!("{id:?}"),
        list,
        near,
        advice: "Use a part of the table, or describe the part in a parts.toml beside this file.",
    };
    entry.notes().add(entry.span(), problem);
}
