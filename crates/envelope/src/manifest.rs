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

/// Reads a manifest's content (without its byte string head) and gives each recipient to `recipient`.
pub(crate) fn read(manifest: &[u8], recipient: &mut dyn FnMut(Kid, &[u8; WRAPPED_LEN])) -> Result<Stated, Refusal> {
    let mut cursor = Cursor::new(manifest, Part::Manifest);
    let mut keys = cursor.map()?;
    let (mut structure, mut sequence, mut shared, mut version) = (None, None, None, None);
    let (mut validated, mut invoked, mut install, mut text_digest) = (None, None, None, None);
    while let Some(key) = keys.next_uint(&mut cursor)? {
        match key {
            ids::MANIFEST_VERSION => structure = Some(structure_version(&mut cursor)?),
            ids::MANIFEST_SEQUENCE => sequence = Some(cursor.uint()?),
            ids::MANIFEST_COMMON => shared = Some(common(cursor.wrapped(Part::Common)?)?),
            ids::MANIFEST_SET_VERSION => version = Some(set_version(cursor.wrapped(Part::SetVersion)?)?),
            ids::MANIFEST_VALIDATE => validated = Some(validate(cursor.wrapped(Part::Validate)?)?),
            ids::MANIFEST_INVOKE => invoked = Some(invoke(cursor.wrapped(Part::Invoke)?)?),
            ids::MANIFEST_INSTALL => install = Some(install_sequence(cursor.wrapped(Part::Install)?, recipient)?),
            ids::TEXT => text_digest = Some(*digest(&mut cursor)?),
            _ => return Err(Refusal::UnknownCritical(Part::Manifest)),
        }
    }
    cursor.end()?;
    let missing = Refusal::Missing(Part::Manifest);
    let (Some(()), Some(()), Some(())) = (structure, validated, invoked) else {
        return Err(missing);
    };
    let (Some(shared), Some(install)) = (shared, install) else {
        return Err(missing);
    };
    Ok(Stated {
        sequence: sequence.ok_or(missing)?,
        version: version.ok_or(missing)?,
        vendor: shared.vendor,
        class: shared.class,
        image_digest: shared.digest,
        image_size: shared.size,
        payload_digest: install.digest,
        payload_size: install.size,
        iv: install.iv,
        text_digest,
    })
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

fn structure_version(cursor: &mut Cursor<'_>) -> Result<(), Refusal> {
    if cursor.uint()? == ids::STRUCTURE_VERSION {
        Ok(())
    } else {
        Err(Refusal::Version)
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

/// Image identifiers, digest and size: of the decrypted image.
struct Shared {
    vendor: [u8; 16],
    class: [u8; 16],
    digest: [u8; 32],
    size: u32,
}

fn common(mut cursor: Cursor<'_>) -> Result<Shared, Refusal> {
    let mut keys = cursor.map()?;
    let (mut listed, mut shared) = (None, None);
    while let Some(key) = keys.next_uint(&mut cursor)? {
        match key {
            ids::COMMON_COMPONENTS => listed = Some(components(&mut cursor)?),
            ids::COMMON_SHARED => shared = Some(shared_sequence(cursor.wrapped(Part::Shared)?)?),
            _ => return Err(Refusal::UnknownCritical(Part::Common)),
        }
    }
    cursor.end()?;
    match (listed, shared) {
        (Some(()), Some(shared)) => Ok(shared),
        _ => Err(Refusal::Missing(Part::Common)),
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

fn shared_sequence(cursor: Cursor<'_>) -> Result<Shared, Refusal> {
    let mut sequence = Sequence::start(cursor, 4)?;
    sequence.component(ids::INDEX_SLOT)?;
    let shared = shared_parameters(sequence.parameters()?)?;
    sequence.reporting(ids::CONDITION_VENDOR)?;
    sequence.reporting(ids::CONDITION_CLASS)?;
    sequence.end()?;
    Ok(shared)
}

fn shared_parameters(cursor: &mut Cursor<'_>) -> Result<Shared, Refusal> {
    let (mut vendor, mut class, mut image, mut size) = (None, None, None, None);
    let mut keys = cursor.map()?;
    while let Some(key) = keys.next_uint(cursor)? {
        match key {
            ids::PARAMETER_VENDOR => vendor = Some(*cursor.array_of()?),
            ids::PARAMETER_CLASS => class = Some(*cursor.array_of()?),
            ids::PARAMETER_DIGEST => image = Some(wrapped_digest(cursor)?),
            ids::PARAMETER_SIZE => size = Some(size_of(cursor)?),
            other => return Err(stray(other, cursor)),
        }
    }
    match (vendor, class, image, size) {
        (Some(vendor), Some(class), Some(digest), Some(size)) => Ok(Shared {
            vendor,
            class,
            digest,
            size,
        }),
        _ => Err(Refusal::Missing(Part::Shared)),
    }
}

/// Digest and size of the payload, and how it is encrypted.
struct Install {
    digest: [u8; 32],
    size: u32,
    iv: [u8; 16],
}

fn install_sequence(
    cursor: Cursor<'_>,
    recipient: &mut dyn FnMut(Kid, &[u8; WRAPPED_LEN]),
) -> Result<Install, Refusal> {
    let mut sequence = Sequence::start(cursor, 8)?;
    sequence.component(ids::INDEX_PAYLOAD)?;
    let (digest, size) = payload_parameters(sequence.parameters()?)?;
    sequence.reporting(ids::DIRECTIVE_FETCH)?;
    sequence.reporting(ids::CONDITION_IMAGE)?;
    sequence.component(ids::INDEX_SLOT)?;
    let iv = slot_parameters(sequence.parameters()?, recipient)?;
    sequence.reporting(ids::DIRECTIVE_COPY)?;
    sequence.reporting(ids::CONDITION_IMAGE)?;
    sequence.end()?;
    Ok(Install { digest, size, iv })
}

fn payload_parameters(cursor: &mut Cursor<'_>) -> Result<([u8; 32], u32), Refusal> {
    let (mut payload, mut size, mut uri) = (None, None, None);
    let mut keys = cursor.map()?;
    while let Some(key) = keys.next_uint(cursor)? {
        match key {
            ids::PARAMETER_DIGEST => payload = Some(wrapped_digest(cursor)?),
            ids::PARAMETER_SIZE => size = Some(size_of(cursor)?),
            ids::PARAMETER_URI if cursor.is_text(ids::PAYLOAD_NAME)? => uri = Some(()),
            ids::PARAMETER_URI => return Err(Refusal::PayloadName),
            other => return Err(stray(other, cursor)),
        }
    }
    match (payload, size, uri) {
        (Some(payload), Some(size), Some(())) => Ok((payload, size)),
        _ => Err(Refusal::Missing(Part::Install)),
    }
}

fn slot_parameters(
    cursor: &mut Cursor<'_>,
    recipient: &mut dyn FnMut(Kid, &[u8; WRAPPED_LEN]),
) -> Result<[u8; 16], Refusal> {
    let (mut iv, mut source) = (None, None);
    let mut keys = cursor.map()?;
    while let Some(key) = keys.next_uint(cursor)? {
        match key {
            ids::PARAMETER_ENCRYPTION => iv = Some(encryption(cursor.wrapped(Part::Encryption)?, recipient)?),
            ids::PARAMETER_SOURCE if cursor.uint()? == ids::INDEX_PAYLOAD => source = Some(()),
            ids::PARAMETER_SOURCE => return Err(Refusal::Component),
            other => return Err(stray(other, cursor)),
        }
    }
    match (iv, source) {
        (Some(iv), Some(())) => Ok(iv),
        (None, _) => Err(Refusal::NotEncrypted),
        _ => Err(Refusal::Missing(Part::Install)),
    }
}

fn encryption(mut cursor: Cursor<'_>, recipient: &mut dyn FnMut(Kid, &[u8; WRAPPED_LEN])) -> Result<[u8; 16], Refusal> {
    tagged(&mut cursor, ids::TAG_ENCRYPT)?;
    count(&mut cursor, 4)?;
    nothing_protected(&mut cursor)?;
    let (mut alg, mut iv) = (None, None);
    let mut keys = cursor.map()?;
    while let Some(key) = keys.next_uint(&mut cursor)? {
        match key {
            ids::LABEL_ALG => alg = Some(algorithm(&mut cursor, ids::ALG_A256CTR)?),
            ids::LABEL_IV => iv = Some(*cursor.array_of()?),
            _ => return Err(Refusal::UnknownCritical(Part::Encryption)),
        }
    }
    let (Some(()), Some(iv)) = (alg, iv) else {
        return Err(Refusal::Missing(Part::Encryption));
    };
    // The ciphertext is detached: it is the payload.
    cursor.null()?;
    let recipients = cursor.array()?;
    if !(1..=RECIPIENTS_MAX).contains(&recipients) {
        return Err(cursor.fault(Fault::Value));
    }
    let mut each = Cursor::new(cursor.rest(), Part::Recipient);
    for _ in 0..recipients {
        let (kid, wrapped) = one_recipient(&mut each)?;
        recipient(kid, wrapped);
    }
    Cursor::new(each.rest(), Part::Encryption).end()?;
    Ok(iv)
}

fn one_recipient<'a>(cursor: &mut Cursor<'a>) -> Result<(Kid, &'a [u8; WRAPPED_LEN]), Refusal> {
    count(cursor, 3)?;
    nothing_protected(cursor)?;
    let (mut alg, mut kid) = (None, None);
    let mut keys = cursor.map()?;
    while let Some(key) = keys.next_uint(cursor)? {
        match key {
            ids::LABEL_ALG => alg = Some(algorithm(cursor, ids::ALG_A256KW)?),
            ids::LABEL_KID => kid = Some(key_identifier(cursor)?),
            _ => return Err(Refusal::UnknownCritical(Part::Recipient)),
        }
    }
    let (Some(()), Some(kid)) = (alg, kid) else {
        return Err(Refusal::Missing(Part::Recipient));
    };
    Ok((kid, cursor.array_of()?))
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

fn validate(cursor: Cursor<'_>) -> Result<(), Refusal> {
    slot_command(cursor, ids::CONDITION_IMAGE)
}

fn invoke(cursor: Cursor<'_>) -> Result<(), Refusal> {
    slot_command(cursor, ids::DIRECTIVE_INVOKE)
}

fn slot_command(cursor: Cursor<'_>, command: u64) -> Result<(), Refusal> {
    let mut sequence = Sequence::start(cursor, 2)?;
    sequence.component(ids::INDEX_SLOT)?;
    sequence.reporting(command)?;
    sequence.end()
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

fn wrapped_digest(cursor: &mut Cursor<'_>) -> Result<[u8; 32], Refusal> {
    let mut inner = cursor.wrapped(cursor.part())?;
    let digest = digest(&mut inner)?;
    inner.end()?;
    Ok(*digest)
}

fn size_of(cursor: &mut Cursor<'_>) -> Result<u32, Refusal> {
    u32::try_from(cursor.uint()?).map_err(|_| Refusal::SizeMismatch)
}

/// A command sequence, read against the commands that the profile fixes.
struct Sequence<'a> {
    cursor: Cursor<'a>,
}

impl<'a> Sequence<'a> {
    /// Begins a sequence that must have exactly `commands` commands.
    fn start(mut cursor: Cursor<'a>, commands: u64) -> Result<Self, Refusal> {
        // A command and its argument are two items (draft-ietf-suit-manifest-37, 11.4).
        let items = cursor.array()?;
        if items == commands.wrapping_mul(2) {
            Ok(Self { cursor })
        } else {
            Err(Refusal::Template(cursor.part()))
        }
    }

    fn command(&mut self, wanted: u64) -> Result<(), Refusal> {
        match self.cursor.int()?.try_into() {
            Ok(command) if command == wanted => Ok(()),
            Ok(
                ids::CONDITION_VENDOR
                | ids::CONDITION_CLASS
                | ids::CONDITION_IMAGE
                | ids::DIRECTIVE_COMPONENT
                | ids::DIRECTIVE_PARAMETERS
                | ids::DIRECTIVE_FETCH
                | ids::DIRECTIVE_COPY
                | ids::DIRECTIVE_INVOKE,
            ) => Err(Refusal::Template(self.cursor.part())),
            _ => Err(Refusal::UnknownCritical(self.cursor.part())),
        }
    }

    fn component(&mut self, index: u64) -> Result<(), Refusal> {
        self.command(ids::DIRECTIVE_COMPONENT)?;
        if self.cursor.uint()? == index {
            Ok(())
        } else {
            Err(Refusal::Component)
        }
    }

    /// The reader, at the map of parameters.
    fn parameters(&mut self) -> Result<&mut Cursor<'a>, Refusal> {
        self.command(ids::DIRECTIVE_PARAMETERS)?;
        Ok(&mut self.cursor)
    }

    /// Reads a command whose argument is a reporting policy, a hint that the unit does not follow.
    fn reporting(&mut self, wanted: u64) -> Result<(), Refusal> {
        self.command(wanted)?;
        if self.cursor.uint()? <= ids::REPORT_MAX {
            Ok(())
        } else {
            Err(self.cursor.fault(Fault::Value))
        }
    }

    fn end(self) -> Result<(), Refusal> {
        self.cursor.end()
    }
}
