//! The manifest: one fixed arrangement of commands with free values, and no interpreter.
//!
//! Nothing here is called before the manifest's digest and a signature over it hold, except to look at a file on the
//! host.

use crate::cbor::Cursor;
use crate::cipher::WRAPPED_LEN;
use crate::ids;
use crate::keys::Kid;
use crate::refusal::{Fault, Part, Refusal};
use crate::version::VersionNumbers;

/// Most recipients of one content key: as many generations of unit keys can be served at a time.
pub const RECIPIENTS_MAX: u64 = 8;

/// What a verified manifest says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Manifest {
    /// SHA-256 of the manifest's encoded byte string, head included: what was signed.
    pub digest: [u8; 32],
    /// The sequence number: our issue. Lower than the unit's floor is refused by the installer.
    pub sequence: u64,
    /// The version, for people and for ordering.
    pub version: VersionNumbers,
    /// Vendor identifier, a UUID.
    pub vendor: [u8; 16],
    /// Class identifier, a UUID.
    pub class: [u8; 16],
    /// SHA-256 of the decrypted image.
    pub image_digest: [u8; 32],
    /// Size of the image, and of the payload, in bytes; at least 1.
    pub image_size: u32,
    /// SHA-256 of the payload as it lies in the file.
    pub payload_digest: [u8; 32],
    /// Where the payload begins, in bytes from the file's start.
    pub payload_offset: u32,
    /// First counter block of the payload's cipher.
    pub iv: [u8; 16],
}

/// The values of a manifest, as the manifest itself states them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stated {
    pub(crate) sequence: u64,
    pub(crate) version: VersionNumbers,
    pub(crate) vendor: [u8; 16],
    pub(crate) class: [u8; 16],
    pub(crate) image_digest: [u8; 32],
    pub(crate) image_size: u32,
    pub(crate) payload_digest: [u8; 32],
    pub(crate) payload_size: u32,
    pub(crate) iv: [u8; 16],
    pub(crate) text_digest: Option<[u8; 32]>,
}

impl Stated {
    const NOTHING: Self = Self {
        sequence: 0,
        version: VersionNumbers::ZERO,
        vendor: [0; 16],
        class: [0; 16],
        image_digest: [0; 32],
        image_size: 0,
        payload_digest: [0; 32],
        payload_size: 0,
        iv: [0; 16],
        text_digest: None,
    };
}

/// What takes each recipient of the content key: its key identifier, and the wrapped key.
pub(crate) type TakeRecipient<'r> = dyn FnMut(Kid, &[u8; WRAPPED_LEN]) + 'r;

/// Reads a map whose keys are all known: `entry` reads the value of one, and answers with a bit for it. All bits together.
fn map<'a>(
    cursor: &mut Cursor<'a>,
    entry: &mut dyn FnMut(u64, &mut Cursor<'a>) -> Result<u8, Refusal>,
) -> Result<u8, Refusal> {
    let mut keys = cursor.map()?;
    let mut seen = 0;
    while let Some(key) = keys.next_uint(cursor)? {
        seen |= entry(key, cursor)?;
    }
    Ok(seen)
}

/// Whether all of the first `count` bits are there.
const fn has_all(seen: u8, count: u32) -> bool {
    seen.trailing_ones() >= count
}

/// Reads a manifest's content (without its byte string head) and gives each recipient to `recipient`.
pub(crate) fn read(manifest: &[u8], recipient: &mut TakeRecipient<'_>) -> Result<Stated, Refusal> {
    let mut stated = Stated::NOTHING;
    let mut cursor = Cursor::new(manifest, Part::Manifest);
    let seen = map(&mut cursor, &mut |key, cursor| {
        Ok(match key {
            ids::MANIFEST_VERSION => {
                if cursor.uint()? != ids::STRUCTURE_VERSION {
                    return Err(Refusal::Version);
                }
                1
            }
            ids::MANIFEST_SEQUENCE => {
                stated.sequence = cursor.uint()?;
                2
            }
            ids::MANIFEST_COMMON => {
                common(cursor.wrapped(Part::Common)?, &mut stated)?;
                4
            }
            ids::MANIFEST_SET_VERSION => {
                stated.version = set_version(cursor.wrapped(Part::SetVersion)?)?;
                8
            }
            ids::MANIFEST_VALIDATE => {
                slot_command(cursor.wrapped(Part::Validate)?, ids::CONDITION_IMAGE)?;
                16
            }
            ids::MANIFEST_INVOKE => {
                slot_command(cursor.wrapped(Part::Invoke)?, ids::DIRECTIVE_INVOKE)?;
                32
            }
            ids::MANIFEST_INSTALL => {
                install(cursor.wrapped(Part::Install)?, &mut stated, recipient)?;
                64
            }
            ids::TEXT => {
                stated.text_digest = Some(*digest(cursor)?);
                0
            }
            _ => return Err(Refusal::UnknownCritical(Part::Manifest)),
        })
    })?;
    cursor.end()?;
    match has_all(seen, 7) {
        true => Ok(stated),
        false => Err(Refusal::Missing(Part::Manifest)),
    }
}

/// Reads a SUIT_Digest (draft-ietf-suit-manifest-37, 10): `[-16, 32 bytes]`.
pub(crate) fn digest<'a>(cursor: &mut Cursor<'a>) -> Result<&'a [u8; 32], Refusal> {
    count(cursor, 2)?;
    if cursor.int()? != ids::ALG_SHA256 {
        return Err(Refusal::UnknownAlgorithm(cursor.part()));
    }
    cursor.array_of()
}

/// Reads an array's head and checks its count.
pub(crate) fn count(cursor: &mut Cursor<'_>, wanted: u64) -> Result<(), Refusal> {
    if cursor.array()? == wanted {
        Ok(())
    } else {
        Err(cursor.fault(Fault::Value))
    }
}

fn set_version(mut cursor: Cursor<'_>) -> Result<VersionNumbers, Refusal> {
    let count = cursor.array()?;
    let mut numbers = [0; 3];
    let numbers = usize::try_from(count).ok().and_then(|count| numbers.get_mut(..count));
    let numbers = numbers.ok_or(Refusal::ReleaseNumbers)?;
    for number in numbers.iter_mut() {
        *number = u32::try_from(cursor.int()?).map_err(|_| Refusal::ReleaseNumbers)?;
    }
    cursor.end()?;
    VersionNumbers::new(numbers).ok_or(Refusal::ReleaseNumbers)
}

fn common(mut cursor: Cursor<'_>, stated: &mut Stated) -> Result<(), Refusal> {
    let seen = map(&mut cursor, &mut |key, cursor| match key {
        ids::COMMON_COMPONENTS => components(cursor).map(|()| 1),
        ids::COMMON_SHARED => shared(cursor.wrapped(Part::Shared)?, stated).map(|()| 2),
        _ => Err(Refusal::UnknownCritical(Part::Common)),
    })?;
    cursor.end()?;
    match has_all(seen, 2) {
        true => Ok(()),
        false => Err(Refusal::Missing(Part::Common)),
    }
}

fn components(cursor: &mut Cursor<'_>) -> Result<(), Refusal> {
    if cursor.array()? != 2 {
        return Err(Refusal::Component);
    }
    for wanted in [ids::COMPONENT_SLOT, ids::COMPONENT_PAYLOAD] {
        if cursor.array()? != 1 || cursor.bytes()? != wanted {
            return Err(Refusal::Component);
        }
    }
    Ok(())
}

fn shared(cursor: Cursor<'_>, stated: &mut Stated) -> Result<(), Refusal> {
    const COMMANDS: [Command; 4] = [
        Command::Component(ids::INDEX_SLOT as u8),
        Command::Parameters(Of::Image),
        Command::Reporting(ids::CONDITION_VENDOR as u8),
        Command::Reporting(ids::CONDITION_CLASS as u8),
    ];
    sequence(cursor, &COMMANDS, &mut |_, cursor| {
        let seen = map(cursor, &mut |key, cursor| {
            Ok(match key {
                ids::PARAMETER_VENDOR => {
                    stated.vendor = *cursor.array_of()?;
                    1
                }
                ids::PARAMETER_CLASS => {
                    stated.class = *cursor.array_of()?;
                    2
                }
                ids::PARAMETER_DIGEST => {
                    wrapped_digest(cursor, &mut stated.image_digest)?;
                    4
                }
                ids::PARAMETER_SIZE => {
                    stated.image_size = size_of(cursor)?;
                    8
                }
                other => return Err(stray(other, cursor)),
            })
        })?;
        match has_all(seen, 4) {
            true => Ok(()),
            false => Err(Refusal::Missing(Part::Shared)),
        }
    })
}

fn install(cursor: Cursor<'_>, stated: &mut Stated, recipient: &mut TakeRecipient<'_>) -> Result<(), Refusal> {
    const COMMANDS: [Command; 8] = [
        Command::Component(ids::INDEX_PAYLOAD as u8),
        Command::Parameters(Of::Payload),
        Command::Reporting(ids::DIRECTIVE_FETCH as u8),
        Command::Reporting(ids::CONDITION_IMAGE as u8),
        Command::Component(ids::INDEX_SLOT as u8),
        Command::Parameters(Of::Slot),
        Command::Reporting(ids::DIRECTIVE_COPY as u8),
        Command::Reporting(ids::CONDITION_IMAGE as u8),
    ];
    sequence(cursor, &COMMANDS, &mut |of, cursor| match of {
        Of::Payload => payload_parameters(cursor, stated),
        Of::Image | Of::Slot => slot_parameters(cursor, stated, recipient),
    })
}

/// Digest and size of the payload, and its name.
fn payload_parameters(cursor: &mut Cursor<'_>, stated: &mut Stated) -> Result<(), Refusal> {
    let seen = map(cursor, &mut |key, cursor| {
        Ok(match key {
            ids::PARAMETER_DIGEST => {
                wrapped_digest(cursor, &mut stated.payload_digest)?;
                1
            }
            ids::PARAMETER_SIZE => {
                stated.payload_size = size_of(cursor)?;
                2
            }
            ids::PARAMETER_URI if cursor.is_text(ids::PAYLOAD_NAME)? => 4,
            ids::PARAMETER_URI => return Err(Refusal::PayloadName),
            other => return Err(stray(other, cursor)),
        })
    })?;
    match has_all(seen, 3) {
        true => Ok(()),
        false => Err(Refusal::Missing(Part::Install)),
    }
}

/// How the payload becomes the slot's content.
fn slot_parameters(
    cursor: &mut Cursor<'_>,
    stated: &mut Stated,
    recipient: &mut TakeRecipient<'_>,
) -> Result<(), Refusal> {
    let seen = map(cursor, &mut |key, cursor| match key {
        ids::PARAMETER_ENCRYPTION => {
            encryption(cursor.wrapped(Part::Encryption)?, &mut stated.iv, recipient).map(|()| 1)
        }
        ids::PARAMETER_SOURCE if cursor.uint()? == ids::INDEX_PAYLOAD => Ok(2),
        ids::PARAMETER_SOURCE => Err(Refusal::Component),
        other => Err(stray(other, cursor)),
    })?;
    match seen {
        3 => Ok(()),
        1 => Err(Refusal::Missing(Part::Install)),
        _ => Err(Refusal::NotEncrypted),
    }
}

fn encryption(mut cursor: Cursor<'_>, iv: &mut [u8; 16], recipient: &mut TakeRecipient<'_>) -> Result<(), Refusal> {
    tagged(&mut cursor, ids::TAG_ENCRYPT)?;
    count(&mut cursor, 4)?;
    nothing_protected(&mut cursor)?;
    let seen = map(&mut cursor, &mut |key, cursor| match key {
        ids::LABEL_ALG => algorithm(cursor, ids::ALG_A256CTR).map(|()| 1),
        ids::LABEL_IV => {
            *iv = *cursor.array_of()?;
            Ok(2)
        }
        _ => Err(Refusal::UnknownCritical(Part::Encryption)),
    })?;
    if !has_all(seen, 2) {
        return Err(Refusal::Missing(Part::Encryption));
    }
    // The ciphertext is detached: it is the payload.
    cursor.null()?;
    let recipients = cursor.array()?;
    if !(1..=RECIPIENTS_MAX).contains(&recipients) {
        return Err(cursor.fault(Fault::Value));
    }
    let mut each = Cursor::new(cursor.rest(), Part::Recipient);
    for _ in 0..recipients {
        one_recipient(&mut each, recipient)?;
    }
    Cursor::new(each.rest(), Part::Encryption).end()
}

fn one_recipient(cursor: &mut Cursor<'_>, recipient: &mut TakeRecipient<'_>) -> Result<(), Refusal> {
    count(cursor, 3)?;
    nothing_protected(cursor)?;
    let mut kid = None;
    let seen = map(cursor, &mut |key, cursor| match key {
        ids::LABEL_ALG => algorithm(cursor, ids::ALG_A256KW).map(|()| 1),
        ids::LABEL_KID => {
            kid = Some(key_identifier(cursor)?);
            Ok(2)
        }
        _ => Err(Refusal::UnknownCritical(Part::Recipient)),
    })?;
    match kid {
        Some(kid) if has_all(seen, 2) => recipient(kid, cursor.array_of()?),
        _ => return Err(Refusal::Missing(Part::Recipient)),
    }
    Ok(())
}

/// Reads a key identifier of 1 to 16 bytes.
pub(crate) fn key_identifier(cursor: &mut Cursor<'_>) -> Result<Kid, Refusal> {
    let bytes = cursor.bytes()?;
    Kid::new(bytes).ok_or(cursor.fault(Fault::Value))
}

/// Reads a tag's number and checks it.
pub(crate) fn tagged(cursor: &mut Cursor<'_>, wanted: u64) -> Result<(), Refusal> {
    if cursor.tag()? == wanted {
        Ok(())
    } else {
        Err(cursor.fault(Fault::Kind))
    }
}

/// Counter mode and key wrap protect no header: theirs is the byte string of length zero (RFC 9459, 4; RFC 9053, 6.2.1).
fn nothing_protected(cursor: &mut Cursor<'_>) -> Result<(), Refusal> {
    if cursor.bytes()?.is_empty() {
        Ok(())
    } else {
        Err(cursor.fault(Fault::Value))
    }
}

fn algorithm(cursor: &mut Cursor<'_>, wanted: i64) -> Result<(), Refusal> {
    if cursor.int()? == wanted {
        Ok(())
    } else {
        Err(Refusal::UnknownAlgorithm(cursor.part()))
    }
}

fn slot_command(cursor: Cursor<'_>, command: u64) -> Result<(), Refusal> {
    let commands = [
        Command::Component(ids::INDEX_SLOT as u8),
        Command::Reporting(command as u8),
    ];
    sequence(cursor, &commands, &mut |_, _| Ok(()))
}

/// A parameter of the profile in the wrong command is another fault than one that is not the profile's at all.
fn stray(parameter: u64, cursor: &Cursor<'_>) -> Refusal {
    match parameter {
        ids::PARAMETER_VENDOR
        | ids::PARAMETER_CLASS
        | ids::PARAMETER_DIGEST
        | ids::PARAMETER_SIZE
        | ids::PARAMETER_ENCRYPTION
        | ids::PARAMETER_URI
        | ids::PARAMETER_SOURCE => Refusal::Template(cursor.part()),
        _ => Refusal::UnknownCritical(cursor.part()),
    }
}

fn wrapped_digest(cursor: &mut Cursor<'_>, out: &mut [u8; 32]) -> Result<(), Refusal> {
    let mut inner = cursor.wrapped(cursor.part())?;
    *out = *digest(&mut inner)?;
    inner.end()
}

fn size_of(cursor: &mut Cursor<'_>) -> Result<u32, Refusal> {
    u32::try_from(cursor.uint()?).map_err(|_| Refusal::SizeMismatch)
}

/// A command that the profile fixes, with its argument. All of its numbers are below 24.
#[derive(Clone, Copy)]
enum Command {
    /// The component that the commands after it are about.
    Component(u8),
    /// A map of parameters, which the caller reads.
    Parameters(Of),
    /// A command whose argument is a reporting policy, a hint that the unit does not follow.
    Reporting(u8),
}

/// What parameters are about.
#[derive(Clone, Copy)]
enum Of {
    Image,
    Payload,
    Slot,
}

/// Reads a command sequence against the commands that the profile fixes.
fn sequence<'a>(
    mut cursor: Cursor<'a>,
    commands: &[Command],
    parameters: &mut dyn FnMut(Of, &mut Cursor<'a>) -> Result<(), Refusal>,
) -> Result<(), Refusal> {
    // A command and its argument are two items (draft-ietf-suit-manifest-37, 11.4).
    let items = cursor.array()?;
    if items != (commands.len() as u64).wrapping_mul(2) {
        return Err(Refusal::Template(cursor.part()));
    }
    for command in commands {
        let wanted = match *command {
            Command::Component(_) => ids::DIRECTIVE_COMPONENT,
            Command::Parameters(_) => ids::DIRECTIVE_PARAMETERS,
            Command::Reporting(wanted) => u64::from(wanted),
        };
        match cursor.int()?.try_into() {
            Ok(found) if found == wanted => {}
            Ok(
                ids::CONDITION_VENDOR
                | ids::CONDITION_CLASS
                | ids::CONDITION_IMAGE
                | ids::DIRECTIVE_COMPONENT
                | ids::DIRECTIVE_PARAMETERS
                | ids::DIRECTIVE_FETCH
                | ids::DIRECTIVE_COPY
                | ids::DIRECTIVE_INVOKE,
            ) => return Err(Refusal::Template(cursor.part())),
            _ => return Err(Refusal::UnknownCritical(cursor.part())),
        }
        match *command {
            Command::Parameters(of) => parameters(of, &mut cursor)?,
            Command::Component(index) if cursor.uint()? != u64::from(index) => return Err(Refusal::Component),
            Command::Reporting(_) if cursor.uint()? > ids::REPORT_MAX => return Err(cursor.fault(Fault::Value)),
            Command::Component(_) | Command::Reporting(_) => {}
        }
    }
    cursor.end()
}
