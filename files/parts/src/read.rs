//! Reading a parts table, the built-in one as strictly as a maker's own.

use crate::part::{Part, PartKind, ProgramTotal, SecondProgram, Sectors};
use packstaff_document::{DocumentError, Entry, Notes, Section, parse};

/// The form of a parts table.
const FORMAT: u64 = 1;

const ROOT_KEYS: &[&str] = &["format", "part"];
const PART_KEYS: &[&str] = &[
    "id",
    "name",
    "kind",
    "core",
    "clock_hz_max",
    "size_bytes",
    "base",
    "program_granule_bytes",
    "program_page_bytes",
    "page_bytes",
    "program_min_us",
    "program_typ_us",
    "program_max_us",
    "program_total",
    "write_cycle_max_us",
    "mass_erase_typ_us",
    "mass_erase_max_us",
    "endurance_min",
    "endurance_typ",
    "retention_years_min",
    "ecc",
    "erased_value",
    "supply_min_program_v",
    "second_program",
    "sectors",
    "source",
    "confirmed",
    "unconfirmed",
];
const SECTORS_KEYS: &[&str] = &["count", "size", "erase_min_us", "erase_typ_us", "erase_max_us"];
const TOTAL_KEYS: &[&str] = &["bytes", "typ_us", "max_us", "source"];

/// Longest identifier of a part.
const LONGEST_ID: usize = 32;
/// Sectors of one part at most: each is looked at in a simulation.
const MOST_SECTORS: u32 = 1 << 16;
/// Largest granule, in bytes.
const LARGEST_GRANULE: u32 = 1 << 16;
/// Longest time of one operation, in microseconds: some 11 days, above that of any part.
const LONGEST_US: f64 = 1e12;
const FROM_THE_DATA_SHEET: &str = "Give the figure of the data sheet.";

/// Reads a table whose parts may not be called as one of `taken`.
///
/// # Errors
/// Everything that is wrong with the text, each with its place.
pub(crate) fn read(name: &str, text: &str, taken: &[Part]) -> Result<Vec<Part>, DocumentError> {
    let notes = Notes::new(text);
    let parts = parse(&notes).and_then(|root| {
        let root = Section::root(&notes, &root, ROOT_KEYS);
        let format = root.value("format").and_then(|entry| entry.format(FORMAT));
        let sections = root.some_sections("part", "[[part]]", PART_KEYS)?;
        let parts: Vec<_> = sections.iter().map(|section| part(section, taken)).collect();
        let ids = sections.iter().filter_map(|section| section.find("id"));
        let ids: Vec<_> = ids.map(|entry| (entry.raw_text(), entry.span())).collect();
        notes.refuse_repeats("the part", ids.into_iter());
        format.and(parts.into_iter().collect::<Option<Vec<_>>>())
    });
    notes.finish(name, parts)
}

/// `None` if it is there and cannot be used; `Some(None)` if it is left out.
fn optional<'d, 'i, T>(
    section: &Section<'d, 'i>,
    key: &'static str,
    read: impl FnOnce(&Entry<'d, 'i>) -> Option<T>,
) -> Option<Option<T>> {
    match section.find(key) {
        None => Some(None),
        Some(entry) => read(&entry).map(Some),
    }
}

fn needed<'d, 'i, T>(
    section: &Section<'d, 'i>,
    key: &'static str,
    read: impl FnOnce(&Entry<'d, 'i>) -> Option<T>,
) -> Option<T> {
    read(&section.value(key)?)
}

/// How large a part is, where it lies and how it is programmed.
struct Size {
    size_bytes: u32,
    base: u32,
    granule: u32,
    program_page: Option<u32>,
    page: Option<u32>,
}

fn part(section: &Section<'_, '_>, taken: &[Part]) -> Option<Part> {
    let id = needed(section, "id", |entry| identifier(entry, taken));
    let name = needed(section, "name", |entry| entry.text());
    let kind = needed(section, "kind", |entry| entry.word(PartKind::WORDS));
    let core = optional(section, "core", |entry| entry.text());
    let clock = optional(section, "clock_hz_max", |entry| entry.integer(1..=100_000_000_000));
    let size = size(section);
    let program = times(section, ["program_min_us", "program_typ_us", "program_max_us"]);
    let program_total = optional(section, "program_total", total);
    let write_cycle = optional(section, "write_cycle_max_us", |entry| within(entry, 0.0..=LONGEST_US));
    let mass_erase = times(section, ["mass_erase_typ_us", "mass_erase_max_us"]);
    let endurance = endurance(section);
    let retention = optional(section, "retention_years_min", |entry| entry.integer_u32(1..=1000));
    let ecc = needed(section, "ecc", |entry| entry.boolean());
    let erased = optional(section, "erased_value", |entry| entry.integer_u32(0..=0xff));
    let supply = optional(section, "supply_min_program_v", |entry| within(entry, 0.1..=100.0));
    let second = optional(section, "second_program", |entry| entry.word(SecondProgram::WORDS));
    let source = needed(section, "source", |entry| entry.text());
    let confirmed = needed(section, "confirmed", |entry| entry.boolean());
    let unconfirmed = needed(section, "unconfirmed", |entry| {
        let members: Vec<_> = entry.list()?.iter().map(|entry| entry.text()).collect();
        members.into_iter().collect::<Option<Vec<_>>>()
    });
    let sectors = match (&kind, &size) {
        (Some(kind), Some(size)) => sectors(section, *kind, size),
        _ => None,
    };
    let [program_min_us, program_typ_us, program_max_us] = program?;
    let [mass_erase_typ_us, mass_erase_max_us] = mass_erase?;
    let (endurance_min, endurance_typ) = endurance?;
    let size = size?;
    Some(Part {
        id: id?,
        name: name?,
        kind: kind?,
        core: core?,
        clock_hz_max: clock?,
        size_bytes: size.size_bytes,
        base: size.base,
        program_granule_bytes: size.granule,
        program_page_bytes: size.program_page,
        page_bytes: size.page,
        program_min_us,
        program_typ_us,
        program_max_us,
        program_total: program_total?,
        write_cycle_max_us: write_cycle?,
        mass_erase_typ_us,
        mass_erase_max_us,
        endurance_min,
        endurance_typ,
        retention_years_min: retention?,
        ecc: ecc?,
        erased_value: match erased? {
            Some(value) => Some(u8::try_from(value).ok()?),
            None => None,
        },
        supply_min_program_v: supply?,
        second_program: second?.unwrap_or_default(),
        sectors: sectors?,
        source: source?,
        confirmed: confirmed?,
        unconfirmed: unconfirmed?,
    })
}

fn identifier(entry: &Entry<'_, '_>, taken: &[Part]) -> Option<String> {
    let text = entry.raw_text()?;
    let fits = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    if !(1..=LONGEST_ID).contains(&text.len()) || !text.bytes().all(fits) {
        return entry.refuse(
            format!("1 to {LONGEST_ID} letters a-z, digits or hyphens"),
            "Choose a short name such as \"stm32f405-1m\": boards name the part by it.",
        );
    }
    if taken.iter().any(|part| part.id == text) {
        return entry.refuse(
            "a name of its own: a built-in part is called so",
            "Use the built-in part and take this one out, or give this one another name, for its boards too.",
        );
    }
    Some(text.to_owned())
}

fn size(section: &Section<'_, '_>) -> Option<Size> {
    let size_bytes = needed(section, "size_bytes", |entry| entry.integer_u32(1..=u32::MAX));
    let base = optional(section, "base", |entry| entry.integer_u32(0..=u32::MAX));
    let granule = needed(section, "program_granule_bytes", |entry| {
        power_of_two(entry, LARGEST_GRANULE)
    });
    let program_page = optional(section, "program_page_bytes", |entry| power_of_two(entry, 1 << 20));
    let page = optional(section, "page_bytes", |entry| power_of_two(entry, 1 << 20));
    let (size_bytes, base, granule) = (size_bytes?, base?.unwrap_or(0), granule?);
    let (program_page, page) = (program_page?, page?);
    if u64::from(base) + u64::from(size_bytes) > 1 << 32 {
        return section.value("size_bytes")?.refuse(
            format!("a size that ends within 32-bit addresses from {base:#010x}"),
            FROM_THE_DATA_SHEET,
        );
    }
    if program_page.is_some_and(|page| page < granule) {
        return section.value("program_page_bytes")?.refuse(
            format!("at least the granule, {granule} bytes"),
            "Give the bytes that one program command takes at most, or leave the key out.",
        );
    }
    Some(Size {
        size_bytes,
        base,
        granule,
        program_page,
        page,
    })
}

fn power_of_two(entry: &Entry<'_, '_>, largest: u32) -> Option<u32> {
    let number = entry.integer_u32(1..=largest)?;
    match number.is_power_of_two() {
        true => Some(number),
        false => entry.refuse("a power of two", FROM_THE_DATA_SHEET),
    }
}

fn within(entry: &Entry<'_, '_>, allowed: std::ops::RangeInclusive<f64>) -> Option<f64> {
    let number = entry.number()?;
    match allowed.contains(&number) {
        true => Some(number),
        false => entry.refuse(
            format!("a number from {} to {}", allowed.start(), allowed.end()),
            FROM_THE_DATA_SHEET,
        ),
    }
}

/// A time of one operation, in microseconds.
fn time(entry: &Entry<'_, '_>) -> Option<f64> {
    match entry.number()? {
        number if number <= 0.0 => entry.refuse("a time above 0", FROM_THE_DATA_SHEET),
        _ => within(entry, 0.0..=LONGEST_US),
    }
}

/// Times of one operation in microseconds, the shortest first.
fn times<const N: usize>(section: &Section<'_, '_>, keys: [&'static str; N]) -> Option<[Option<f64>; N]> {
    let read = keys.map(|key| optional(section, key, time));
    let mut times = [None; N];
    let mut earlier: Option<(&str, f64)> = None;
    for ((key, read), time) in keys.iter().zip(read).zip(&mut times) {
        *time = read?;
        if let (Some((shorter, least)), Some(found)) = (earlier, *time)
            && found < least
        {
            return section
                .value(key)?
                .refuse(format!("at least `{shorter}`, {least}"), FROM_THE_DATA_SHEET);
        }
        earlier = time.map(|time| (*key, time)).or(earlier);
    }
    Some(times)
}

/// Guaranteed and typical cycles.
fn endurance(section: &Section<'_, '_>) -> Option<(Option<u64>, Option<u64>)> {
    let cycles = |key| optional(section, key, |entry| entry.integer(1..=1 << 60));
    let (least, typical) = (cycles("endurance_min"), cycles("endurance_typ"));
    let (least, typical) = (least?, typical?);
    if let (Some(least), Some(typical)) = (least, typical)
        && typical < least
    {
        return section
            .value("endurance_typ")?
            .refuse(format!("at least `endurance_min`, {least}"), FROM_THE_DATA_SHEET);
    }
    Some((least, typical))
}

fn total(entry: &Entry<'_, '_>) -> Option<ProgramTotal> {
    let section = entry.section("the total time", TOTAL_KEYS)?;
    let bytes = needed(&section, "bytes", |entry| entry.integer_u32(1..=u32::MAX));
    let times = times(&section, ["typ_us", "max_us"]);
    for key in ["typ_us", "max_us"] {
        section.value(key)?;
    }
    let source = needed(&section, "source", |entry| entry.text());
    let [typ_us, max_us] = times?;
    Some(ProgramTotal {
        bytes: bytes?,
        typ_us: typ_us?,
        max_us: max_us?,
        source: source?,
    })
}

/// The sectors: every flash has them, and nothing else has; together they are the part.
fn sectors(section: &Section<'_, '_>, kind: PartKind, size: &Size) -> Option<Vec<Sectors>> {
    let entry = match (kind.has_sectors(), section.find("sectors")) {
        (true, _) => section.value("sectors")?,
        (false, None) => return Some(Vec::new()),
        (false, Some(entry)) => {
            return entry.misfit(
                "is given, but only flash is erased by sectors",
                "Take the line out, or correct `kind`.",
            );
        }
    };
    let runs: Vec<_> = entry.list()?.iter().map(|entry| run(entry, size.granule)).collect();
    let runs: Vec<Sectors> = runs.into_iter().collect::<Option<_>>()?;
    let bytes: u64 = runs.iter().map(|run| u64::from(run.count) * u64::from(run.size)).sum();
    if bytes != u64::from(size.size_bytes) {
        return entry.misfit(
            format!("have {bytes} bytes together, and `size_bytes` is {}", size.size_bytes),
            "List every sector once, upward from `base`, or correct the size.",
        );
    }
    if runs.iter().map(|run| u64::from(run.count)).sum::<u64>() > u64::from(MOST_SECTORS) {
        return entry.refuse(
            format!("at most {MOST_SECTORS} sectors"),
            "Describe the part with the larger of its erase commands.",
        );
    }
    Some(runs)
}

fn run(entry: &Entry<'_, '_>, granule: u32) -> Option<Sectors> {
    let section = entry.section("the run of sectors", SECTORS_KEYS)?;
    let count = needed(&section, "count", |entry| entry.integer_u32(1..=MOST_SECTORS));
    let size = needed(&section, "size", |entry| entry.integer_u32(1..=u32::MAX));
    let erase = times(&section, ["erase_min_us", "erase_typ_us", "erase_max_us"]);
    let (count, size) = (count?, size?);
    if !size.is_multiple_of(granule) {
        return section.value("size")?.refuse(
            format!("a multiple of the granule, {granule} bytes"),
            FROM_THE_DATA_SHEET,
        );
    }
    let [erase_min_us, erase_typ_us, erase_max_us] = erase?;
    Some(Sectors {
        count,
        size,
        erase_min_us,
        erase_typ_us,
        erase_max_us,
    })
}
