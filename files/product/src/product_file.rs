//! The product file, `product.toml`: what the maker declares about the product.
//!
//! A key of the file means what the field of the same name means here; units of measurement are in the names. Unknown
//! keys are refused, with the name that was probably meant, because a misspelt key would otherwise pass for a default.
//! `demo/kc4/product.toml` is a whole example.

use crate::board::{self, Board, relative_path};
use crate::budget::{self, Budget};
use crate::hazard::Hazard;
use crate::identity::{Uuid, vendor_id};
use crate::owner::{OwnerTexts, Screens};
use crate::version::{Clash, MAX_PLACES, Scheme, Version, VersionError, lint};
use packstaff_document::{Date, DocumentError, Entry, Notes, Problem, Section, nearest, parse};
use packstaff_parts::PartsTable;

/// The format that this crate reads and writes.
pub const FORMAT: u64 = 1;

const ROOT_KEYS: &[&str] = &[
    "format",
    "maker",
    "product",
    "board",
    "versions",
    "policy",
    "keys",
    "generation",
    "screens",
    "owner",
    "budget",
];
const MAKER_KEYS: &[&str] = &["name", "domain", "contact"];
const PRODUCT_KEYS: &[&str] = &["name", "short", "description", "hazards", "supported_until"];
const VERSIONS_KEYS: &[&str] = &["scheme", "places", "list", "accept_disputed_order"];
const POLICY_KEYS: &[&str] = &["issue", "oldest"];
const KEYS_KEYS: &[&str] = &["keyring", "serve", "new_units"];
const GENERATION_KEYS: &[&str] = &["id", "units", "trusts", "header_room"];

/// A product.
#[derive(Clone, Debug, PartialEq)]
pub struct Product {
    /// Who makes it.
    pub maker: Maker,
    /// Its name, as owners know it.
    pub name: String,
    /// Its short name for file names: 2 to 4 letters A-Z or digits.
    pub short: String,
    /// What it is, in a sentence.
    pub description: String,
    /// What it can do to people. The list may be empty, but it has to be there.
    pub hazards: Vec<Hazard>,
    /// Until when the maker promises updates.
    pub supported_until: Option<Date>,
    /// Its board revisions, at least one.
    pub boards: Vec<Board>,
    /// Its versions.
    pub versions: Versions,
    /// What units may go back to.
    pub policy: Policy,
    /// Which keys its units have.
    pub keys: Keys,
    /// What a unit shows.
    pub screens: Screens,
    /// What an owner is told.
    pub owner: OwnerTexts,
    /// What the arithmetic of a unit's life is done with, if the maker states it.
    pub budget: Option<Budget>,
}

/// Who makes a product.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Maker {
    /// Name, as owners know it.
    pub name: String,
    /// Domain, lower case: the vendor identifier is made from it.
    pub domain: String,
    /// Where owners write to.
    pub contact: String,
    /// Vendor identifier.
    pub vendor: Uuid,
}

/// A product's versions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Versions {
    /// How texts map to integers.
    pub scheme: Scheme,
    /// Every version that a unit may run or that has a build, oldest first whatever their order in the file.
    pub list: Vec<Version>,
    /// Whether the maker knowingly accepts versions that people could put in another order.
    pub accept_disputed_order: bool,
}

/// What units may go back to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Policy {
    /// Sequence number of the files that are now issued.
    pub issue: u64,
    /// The oldest version that an owner may go back to.
    pub oldest: Version,
}

/// Which keys the units have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Keys {
    /// Path of the keyring from the product folder, with `/` between its parts.
    pub keyring: String,
    /// Every generation of unit keys that there is.
    pub generations: Vec<UnitGeneration>,
    /// The generations that update files are made for.
    pub serve: Vec<String>,
    /// The generation that new units are given.
    pub new_units: String,
}

/// A generation of unit keys.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitGeneration {
    /// Its identifier, the same as in the keyring.
    pub id: String,
    /// Which units have it, in the maker's words.
    pub units: String,
    /// The kinds of signatures that its units demand, each of them: what they were built with.
    pub trusts: Vec<SignatureKind>,
    /// Bytes of a file's signatures and manifest that its units have room for.
    pub header_room: u32,
}

/// A kind of signature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SignatureKind {
    /// Ed25519 (RFC 8032): small, and of no use against a large quantum computer.
    Ed25519,
    /// HSS-LMS (RFC 8554): rests on SHA-256 alone; a key makes a limited number of signatures.
    HssLms,
}

impl SignatureKind {
    /// The words of a product file.
    pub const WORDS: &[(&str, Self)] = &[("ed25519", Self::Ed25519), ("hss-lms", Self::HssLms)];
}

impl Keys {
    /// A generation of this name.
    pub fn generation(&self, id: &str) -> Option<&UnitGeneration> {
        self.generations.iter().find(|generation| generation.id == id)
    }

    fn served(&self) -> impl Iterator<Item = &UnitGeneration> {
        self.serve.iter().filter_map(|id| self.generation(id))
    }

    /// The kinds of signatures that a file needs so that the units of every served generation take it.
    pub fn signatures(&self) -> Vec<SignatureKind> {
        let mut kinds: Vec<_> = self
            .served()
            .flat_map(|generation| &generation.trusts)
            .copied()
            .collect();
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    }

    /// The least room for signatures and manifest that units of a served generation have, in bytes.
    pub fn header_room(&self) -> u32 {
        let rooms = self.served().map(|generation| generation.header_room);
        rooms.min().unwrap_or(NARROW_HEADER)
    }
}

impl Product {
    /// Reads a product file. `name` is what complaints call it; with a table of parts, the memory maps are checked
    /// against the parts, otherwise only among themselves.
    ///
    /// # Errors
    /// Everything that is wrong with the file, each with its place.
    pub fn read(name: &str, text: &str, parts: Option<&PartsTable>) -> Result<Self, DocumentError> {
        let notes = Notes::new(text);
        let product = parse(&notes).and_then(|root| {
            let root = Section::root(&notes, &root, ROOT_KEYS);
            let format = root.value("format").and_then(|entry| entry.format(FORMAT));
            let product = read_root(&root, parts);
            format.and(product)
        });
        notes.finish(name, product)
    }

    /// The board revision of this name.
    pub fn board(&self, revision: &str) -> Option<&Board> {
        self.boards.iter().find(|board| board.revision == revision)
    }

    /// Reads a version text by the product's scheme.
    ///
    /// # Errors
    /// The text is not in the scheme's canonical form.
    pub fn version(&self, text: &str) -> Result<Version, VersionError> {
        self.versions.scheme.read(text)
    }
}

fn read_root(root: &Section<'_, '_>, parts: Option<&PartsTable>) -> Option<Product> {
    let table = |key, place, known| root.table(key, place, known);
    let maker = table("maker", "[maker]", MAKER_KEYS).and_then(|section| maker(&section));
    let about = table("product", "[product]", PRODUCT_KEYS).and_then(|section| about(&section));
    let boards = boards(root, maker.as_ref().map(|maker| &maker.vendor), parts);
    let versions = table("versions", "[versions]", VERSIONS_KEYS).and_then(|section| versions(&section));
    let policy = table("policy", "[policy]", POLICY_KEYS).and_then(|section| policy(&section, versions.as_ref()));
    let keys = table("keys", "[keys]", KEYS_KEYS).and_then(|section| keys(root, &section));
    let screens = table("screens", "[screens]", Screens::KEYS).and_then(|section| Screens::read(&section));
    let owner = table("owner", "[owner]", OwnerTexts::KEYS).and_then(|section| OwnerTexts::read(&section));
    let budget = match root.find("budget") {
        Some(entry) => entry
            .section("[budget]", budget::KEYS)
            .and_then(|section| {
                // A mistake in the boards' own tables is complained of there, and not once more here.
                let known = boards.as_deref().filter(|_| root.notes().is_clean());
                budget::read(&section, known)
            })
            .map(Some),
        None => Some(None),
    };
    let about = about?;
    Some(Product {
        maker: maker?,
        name: about.name,
        short: about.short,
        description: about.description,
        hazards: about.hazards,
        supported_until: about.supported_until,
        boards: boards?,
        versions: versions?,
        policy: policy?,
        keys: keys?,
        screens: screens?,
        owner: owner?,
        budget: budget?,
    })
}

fn maker(section: &Section<'_, '_>) -> Option<Maker> {
    let name = section.value("name").and_then(|entry| entry.text());
    let domain = section.value("domain").and_then(|entry| domain(&entry));
    let contact = section.value("contact").and_then(|entry| entry.text());
    let domain = domain?;
    let vendor = vendor_id(&domain);
    Some(Maker {
        name: name?,
        domain,
        contact: contact?,
        vendor,
    })
}

/// A domain name in lower case: labels of 1 to 63 letters, digits and inner hyphens (RFC 1123 section 2.1).
fn domain(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    let label = |label: &str| {
        (1..=63).contains(&label.len()) && label.bytes().all(plain) && !label.starts_with('-') && !label.ends_with('-')
    };
    if text.len() > 253 || !text.contains('.') || !text.split('.').all(label) {
        return entry.refuse(
            "a domain name in lower case",
            "Write a domain that is yours, such as \"workshop.example\". Units carry an identifier made from it for life.",
        );
    }
    Some(text.to_owned())
}

struct About {
    name: String,
    short: String,
    description: String,
    hazards: Vec<Hazard>,
    supported_until: Option<Date>,
}

fn about(section: &Section<'_, '_>) -> Option<About> {
    let name = section.value("name").and_then(|entry| entry.text());
    let short = section.value("short").and_then(|entry| short(&entry));
    let description = section.value("description").and_then(|entry| entry.text());
    let hazards = section.value("hazards").and_then(|entry| {
        let members = entry.list()?;
        let hazards: Vec<Option<Hazard>> = members.iter().map(|member| member.word(Hazard::WORDS)).collect();
        section.notes().refuse_repeats(
            "the hazard",
            members.iter().map(|member| (member.raw_text(), member.span())),
        );
        hazards.into_iter().collect::<Option<Vec<_>>>()
    });
    let supported_until = match section.find("supported_until") {
        Some(entry) => Some(entry.date()?),
        None => None,
    };
    Some(About {
        name: name?,
        short: short?,
        description: description?,
        hazards: hazards?,
        supported_until,
    })
}

fn short(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let fits = |byte: u8| byte.is_ascii_uppercase() || byte.is_ascii_digit();
    if !(2..=4).contains(&text.len()) || !text.bytes().all(fits) {
        return entry.refuse(
            "2 to 4 letters A-Z or digits",
            "Choose a short name: it begins the names of update files, which every stick and unit must be able to spell.",
        );
    }
    Some(text.to_owned())
}

fn boards(root: &Section<'_, '_>, vendor: Option<&Uuid>, parts: Option<&PartsTable>) -> Option<Vec<Board>> {
    let sections = root.some_sections("board", "[[board]]", board::KEYS)?;
    let boards: Vec<Option<Board>> = sections
        .iter()
        .map(|section| board::read(section, vendor, parts))
        .collect();
    for (what, key) in [("the revision", "revision"), ("the model", "model")] {
        let values = sections.iter().filter_map(|section| section.find(key));
        let values: Vec<_> = values.map(|entry| (entry.raw_text(), entry.span())).collect();
        root.notes().refuse_repeats(what, values.into_iter());
    }
    boards.into_iter().collect()
}

fn versions(section: &Section<'_, '_>) -> Option<Versions> {
    let places = section.find("places");
    let scheme =
        section
            .value("scheme")
            .and_then(|entry| match entry.word(&[("dotted", false), ("decimal", true)])? {
                false => match &places {
                    Some(places) => places.refuse(
                        "of use to dotted versions",
                        "Take it out, or set scheme = \"decimal\" if 0.85 is older than 0.9.",
                    ),
                    None => Some(Scheme::Dotted),
                },
                true => {
                    let places = section.value("places")?.integer(1..=u64::from(MAX_PLACES))?;
                    Some(Scheme::Decimal {
                        places: u8::try_from(places).ok()?,
                    })
                }
            });
    let accept_disputed_order = match section.find("accept_disputed_order") {
        Some(entry) => entry.boolean()?,
        None => false,
    };
    let members = section.value("list").and_then(|entry| entry.list());
    let (scheme, members) = (scheme?, members?);
    let read: Vec<Option<Version>> = members.iter().map(|member| version(member, scheme)).collect();
    let mut list: Vec<Version> = read.into_iter().collect::<Option<_>>()?;
    let spans: Vec<_> = list
        .iter()
        .zip(&members)
        .map(|(version, member)| (version.text().to_owned(), member.span()))
        .collect();
    let mut sound = true;
    for clash in lint(scheme, &list) {
        let later = match &clash {
            Clash::Disputed { .. } if accept_disputed_order => continue,
            Clash::Same { second: later, .. } | Clash::Disputed { newer: later, .. } => later,
        };
        let place = spans.iter().rev().find(|(text, _)| text == later);
        section.notes().add(
            place.map_or_else(|| section.span(), |(_, span)| span.clone()),
            clashing(&clash),
        );
        sound = false;
    }
    list.sort_by_key(Version::numbers);
    sound.then_some(Versions {
        scheme,
        list,
        accept_disputed_order,
    })
}

fn unfit(error: &VersionError) -> Problem {
    Problem::Unsuitable {
        subject: "a version".to_owned(),
        message: error.to_string(),
        advice: error.advice(),
    }
}

fn clashing(clash: &Clash) -> Problem {
    Problem::Unsuitable {
        subject: "a version".to_owned(),
        message: clash.to_string(),
        advice: clash.advice().to_owned(),
    }
}

pub(crate) fn version(entry: &Entry<'_, '_>, scheme: Scheme) -> Option<Version> {
    match scheme.read(entry.raw_text()?) {
        Ok(version) => Some(version),
        Err(error) => {
            entry.notes().add(entry.span(), unfit(&error));
            None
        }
    }
}

fn policy(section: &Section<'_, '_>, versions: Option<&Versions>) -> Option<Policy> {
    let issue = section
        .value("issue")
        .and_then(|entry| entry.integer(1..=u64::from(u32::MAX)));
    let entry = section.value("oldest");
    let versions = versions?;
    let entry = entry?;
    let oldest = version(&entry, versions.scheme)?;
    if !versions.list.iter().any(|listed| listed.text() == oldest.text()) {
        let known = versions.list.iter().map(Version::text);
        let problem = Problem::UnknownName {
            key: "oldest",
            value: oldest.text().to_owned(),
            list: "`list` of [versions]",
            near: nearest(oldest.text(), known).map(str::to_owned),
            advice: "Add it to the list, or name a version that is there.",
        };
        section.notes().add(entry.span(), problem);
        return None;
    }
    Some(Policy { issue: issue?, oldest })
}

fn keys(root: &Section<'_, '_>, section: &Section<'_, '_>) -> Option<Keys> {
    let sections = root.sections("generation", "[[generation]]", GENERATION_KEYS);
    let generations = sections.iter().map(|section| {
        let id = section.value("id").and_then(|entry| generation_id(&entry));
        let units = section.value("units").and_then(|entry| entry.text());
        let (trusts, header_room) = trusts(section)?;
        Some(UnitGeneration {
            id: id?,
            units: units?,
            trusts,
            header_room,
        })
    });
    let generations: Vec<Option<UnitGeneration>> = generations.collect();
    let ids = sections.iter().filter_map(|section| section.find("id"));
    let ids: Vec<_> = ids.map(|entry| (entry.raw_text(), entry.span())).collect();
    root.notes().refuse_repeats("the generation", ids.iter().cloned());
    let known: Vec<&str> = ids.iter().filter_map(|(id, _)| *id).collect();

    let keyring = section.value("keyring").and_then(|entry| relative_path(&entry));
    let serve = section.value("serve").and_then(|entry| {
        let members = entry.list()?;
        if members.is_empty() {
            return entry.refuse(
                "a list of at least one generation",
                "Name the generations whose units are to read the update files.",
            );
        }
        root.notes().refuse_repeats(
            "the generation",
            members.iter().map(|member| (member.raw_text(), member.span())),
        );
        let served: Vec<_> = members.iter().map(|member| listed(member, "serve", &known)).collect();
        served.into_iter().collect::<Option<Vec<_>>>()
    });
    let new_units = section.value("new_units").and_then(|entry| {
        let id = listed(&entry, "new_units", &known)?;
        if serve.as_ref().is_some_and(|serve| !serve.contains(&id)) {
            return entry.refuse(
                "a generation that `serve` has",
                "Serve it too, or new units could never be updated.",
            );
        }
        Some(id)
    });
    let generations: Vec<UnitGeneration> = generations.into_iter().collect::<Option<_>>()?;
    Some(Keys {
        keyring: keyring?,
        generations,
        serve: serve?,
        new_units: new_units?,
    })
}

/// Room for signatures and manifest in units that were built for Ed25519 alone, in bytes.
const NARROW_HEADER: u32 = packstaff_envelope::HEADER_MAX_NARROW as u32;
/// The same in all others.
const WIDE_HEADER: u32 = packstaff_envelope::HEADER_MAX_WIDE as u32;

/// What the units of a generation demand, and the room that they have for it.
fn trusts(section: &Section<'_, '_>) -> Option<(Vec<SignatureKind>, u32)> {
    let mut trusts = match section.find("trusts") {
        None => vec![SignatureKind::Ed25519],
        Some(entry) => {
            let members = entry.list()?;
            if members.is_empty() {
                return entry.refuse(
                    "a list of at least one kind of signature",
                    "Units that trust nobody could never be updated.",
                );
            }
            section.notes().refuse_repeats(
                "the kind of signature",
                members.iter().map(|member| (member.raw_text(), member.span())),
            );
            let kinds: Vec<_> = members.iter().map(|member| member.word(SignatureKind::WORDS)).collect();
            kinds.into_iter().collect::<Option<Vec<_>>>()?
        }
    };
    trusts.sort_unstable();
    let wide = trusts.contains(&SignatureKind::HssLms);
    let header_room = match section.find("header_room") {
        None if wide => WIDE_HEADER,
        None => NARROW_HEADER,
        Some(entry) => {
            let least = if wide { WIDE_HEADER } else { NARROW_HEADER };
            entry.integer_u32(least..=WIDE_HEADER)?
        }
    };
    Some((trusts, header_room))
}

/// Longest identifier of a generation. It travels in every update file as a key identifier.
pub const LONGEST_GENERATION_ID: usize = 8;

/// Whether a text may be the identifier of a generation: 1 to 8 letters a-z, digits or hyphens.
pub fn is_generation_id(text: &str) -> bool {
    let fits = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    (1..=LONGEST_GENERATION_ID).contains(&text.len()) && text.bytes().all(fits)
}

pub(crate) fn generation_id(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    if !is_generation_id(text) {
        return entry.refuse(
            "1 to 8 letters a-z, digits or hyphens",
            "Choose a short name such as \"g1\".",
        );
    }
    Some(text.to_owned())
}

fn listed(entry: &Entry<'_, '_>, key: &'static str, known: &[&str]) -> Option<String> {
    let id = entry.raw_text()?;
    if known.contains(&id) {
        return Some(id.to_owned());
    }
    let problem = Problem::UnknownName {
        key,
        value: format!("{id:?}"),
        list: "the [[generation]] tables",
        near: nearest(id, known.iter().copied()).map(str::to_owned),
        advice: "Add a [[generation]] table that says which units have it.",
    };
    entry.notes().add(entry.span(), problem);
    None
}
