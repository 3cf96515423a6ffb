//! The table in English.

use super::{AtFault, Told, Wording};
use packstaff_envelope::{Fault, Part, Refusal};
use packstaff_fat::ErrorKind;
use packstaff_installer::Reason;
use std::borrow::Cow;

const fn both(line: &'static str, full: &'static str) -> Wording {
    Wording {
        line: Cow::Borrowed(line),
        full: Cow::Borrowed(full),
    }
}

const fn same(text: &'static str) -> Wording {
    both(text, text)
}

pub(super) const fn at_fault(at_fault: AtFault) -> &'static str {
    match at_fault {
        AtFault::Nobody => "nobody",
        AtFault::Stick => "the stick",
        AtFault::Copy => "the copy of the file",
        AtFault::Choice => "the choice of the file",
        AtFault::File => "the maker's file",
        AtFault::Stranger => "whoever made the file",
        AtFault::Unit => "the unit",
        AtFault::Port => "the unit's port",
    }
}

// For the owner.

pub(super) fn owner(reason: Reason) -> Told {
    Told {
        cause: owners_cause(reason),
        remedy: owners_remedy(reason),
    }
}

fn owners_cause(reason: Reason) -> Wording {
    match reason {
        Reason::Stick(kind) => owners_cause_of_stick(kind),
        Reason::File(refusal) => owners_cause_of_file(refusal),
        Reason::StickUnreadable => both(
            "the stick could not be read",
            "the unit could not read the stick: it was not pushed in firmly, was taken out, or is worn",
        ),
        Reason::NoUpdate => both(
            "there is no update file at the top of the stick",
            "there is no update file at the top of the stick; the unit does not look into folders",
        ),
        Reason::StickChanged => both(
            "the file on the stick is not the one that was picked",
            "the file on the stick is not the one that was picked: the stick was taken out or changed in between",
        ),
        Reason::OtherName => both(
            "this is an update file, but its name has another ending",
            "there is an update file on the stick, but the ending of its name was changed",
        ),
        Reason::OtherMaker => same("this file is by another maker"),
        Reason::OtherProduct => same("this file is for another product"),
        Reason::OtherBoard => both(
            "this file is for another board revision",
            "this file is for the same product with another board inside",
        ),
        Reason::BelowFloor => both(
            "the maker has barred this version for this unit",
            "this version is barred for your unit, because it has had a later one",
        ),
        Reason::TooLarge => both(
            "the image is larger than this unit's slot",
            "the update in the file is too large for your unit",
        ),
        Reason::NoImage => same("the unit has no firmware to start"),
        Reason::ImageDamaged => same("the unit's firmware is damaged"),
        Reason::FlashFault => both(
            "the unit's flash could not be erased or programmed",
            "the unit could not write to its own memory",
        ),
        Reason::FlashDiffers => both(
            "what was stored is not what was signed",
            "what the unit has stored is not what the file holds",
        ),
        Reason::FloorFault => both(
            "the unit's record of installed issues could not be written",
            "the unit could not write down which update it has installed",
        ),
        Reason::Declined => same("nothing was picked, and there is nothing to start"),
    }
}

fn owners_cause_of_stick(kind: ErrorKind) -> Wording {
    const FORMAT: &str = "the stick is not in a format that the unit reads, or the format is damaged";
    const SETUP: &str = "the stick was set up in a way that the unit does not read";
    match kind {
        ErrorKind::EmptyDevice => both(
            "the stick does not answer as it should",
            "the stick says that it has no room at all: it is broken, or was not pushed in firmly",
        ),
        ErrorKind::NoSignature | ErrorKind::NotFat => both(
            FORMAT,
            "the unit does not recognise what is on the stick: it was never formatted, or its beginning is damaged",
        ),
        ErrorKind::ExFat => both(FORMAT, "the stick is formatted as exFAT, which the unit cannot read"),
        ErrorKind::Ntfs => both(FORMAT, "the stick is formatted as NTFS, which the unit cannot read"),
        ErrorKind::BitLocker => both(FORMAT, "the stick is encrypted, so that the unit cannot read it"),
        ErrorKind::Gpt => both(
            SETUP,
            "the stick was set up in a way that the unit does not read (\"GUID partition table\")",
        ),
        ErrorKind::StartUpOnly => both(SETUP, "the stick was made to start a computer"),
        ErrorKind::ExtendedOnly => both(SETUP, "the stick was divided into parts that the unit does not read"),
        ErrorKind::PartitionEmpty | ErrorKind::PartitionOutside => {
            both(SETUP, "the stick's table of its parts is damaged")
        }
        ErrorKind::SectorSize
        | ErrorKind::ClusterSize
        | ErrorKind::NoReservedSectors
        | ErrorKind::NoFats
        | ErrorKind::MediaByte
        | ErrorKind::NoFatSize
        | ErrorKind::NoTotal
        | ErrorKind::NoDataRegion
        | ErrorKind::NoClusters
        | ErrorKind::RootEntries
        | ErrorKind::TypeConflict
        | ErrorKind::TooManyClusters
        | ErrorKind::FatTooShort
        | ErrorKind::LiveFat
        | ErrorKind::Version
        | ErrorKind::RootCluster
        | ErrorKind::VolumePastEnd => both(FORMAT, "the stick's format is damaged, or is an unusual one"),
        ErrorKind::FirstCluster
        | ErrorKind::ChainOutside
        | ErrorKind::ChainFree
        | ErrorKind::ChainBad
        | ErrorKind::ChainLoop
        | ErrorKind::ChainShort
        | ErrorKind::FileTooLarge
        | ErrorKind::DirectoryTooLong => both(
            "the file, or the folder that it is in, is damaged",
            "a file or a folder on the stick is damaged. That happens when a stick is pulled out before it is ejected",
        ),
        ErrorKind::IsDirectory | ErrorKind::IsFile => same(OWN_FAULT),
    }
}

/// For what only a mistake in the unit's program can cause.
const OWN_FAULT: &str = "the unit made a mistake of its own";

fn owners_cause_of_file(refusal: Refusal) -> Wording {
    match refusal {
        Refusal::NotAnUpdate => both(
            "this is not an update file",
            "the file has the name of an update, but is something else",
        ),
        Refusal::Incomplete => same(OWN_FAULT),
        Refusal::Truncated => both(
            "the file ends before the update does",
            "the file is not complete: its end is missing",
        ),
        Refusal::Trailing => same("the file is longer than it should be"),
        Refusal::UnknownSigner | Refusal::NoSignature => both(
            "nobody that this unit trusts has signed this file",
            "the file is not by the maker of this unit: nobody that the unit trusts has signed it",
        ),
        Refusal::BadSignature => both(
            "the signature does not hold",
            "the file's signature does not hold: the file was changed, or is not by the maker of this unit",
        ),
        Refusal::NoRecipient => both(
            "the file cannot be read with this unit's generation of keys",
            "the file is for units of another production period",
        ),
        Refusal::PayloadDigest => both(
            "what is in the file is not what was signed",
            "the file is damaged: what is in it is not what was signed",
        ),
        other => match AtFault::of(Reason::File(other)) {
            AtFault::Copy => same("the file is damaged"),
            _ => same("the file is of a kind that this unit does not know"),
        },
    }
}

fn owners_remedy(reason: Reason) -> Wording {
    match reason {
        Reason::Stick(kind) => owners_remedy_of_stick(kind),
        Reason::File(refusal) => owners_remedy_of_file(refusal),
        Reason::StickUnreadable => {
            same("Push the stick in firmly and try again; if it happens again, take another stick.")
        }
        Reason::NoUpdate => both(
            "Copy the update file to the top of the stick, not into a folder, and try again.",
            "Copy the update file to the top of the stick, not into a folder, eject the stick on the computer, and try again.",
        ),
        Reason::StickChanged => both(
            "Leave the stick in its place, and try again.",
            "Try again with the same stick, and leave it in its place until the unit has finished.",
        ),
        Reason::OtherName => both(
            "Give the file the name that is on the update sheet: its ending was changed.",
            "Give the file the name that is on the update sheet. Your computer may hide the ending of names: let it show them.",
        ),
        Reason::OtherMaker | Reason::OtherProduct => {
            same("This file is not for this unit: get the one named on your sheet.")
        }
        Reason::OtherBoard => same("This file is for another board revision: the sheet says which file is for yours."),
        Reason::BelowFloor => same("The maker has barred this old version for this unit: take a later one."),
        Reason::TooLarge => same("This file is too large for this unit: ask the maker."),
        Reason::NoImage => same("Put in a stick with an update file: the unit has no firmware to start."),
        Reason::ImageDamaged => same("Put in a stick with an update file: the unit's firmware is damaged."),
        Reason::FlashFault | Reason::FloorFault => {
            same("Switch off, wait a minute, try again; if it happens again, write to the maker.")
        }
        Reason::FlashDiffers => same("Try again with the same stick; if it happens again, write to the maker."),
        Reason::Declined => same("Pick an update: the unit has no firmware to start."),
    }
}

fn owners_remedy_of_stick(kind: ErrorKind) -> Wording {
    match kind {
        ErrorKind::EmptyDevice => same("Take another stick, and copy the file again."),
        ErrorKind::Gpt
        | ErrorKind::StartUpOnly
        | ErrorKind::ExtendedOnly
        | ErrorKind::PartitionEmpty
        | ErrorKind::PartitionOutside => both(
            "Erase the stick with a master boot record and one FAT32 partition, and copy the file again.",
            "Erase the whole stick with the scheme \"Master Boot Record\" and one FAT32 volume. That erases everything on it, so \
             copy what you want to keep first. Then copy the update file to it again.",
        ),
        ErrorKind::NoSignature
        | ErrorKind::ExFat
        | ErrorKind::Ntfs
        | ErrorKind::BitLocker
        | ErrorKind::NotFat
        | ErrorKind::SectorSize
        | ErrorKind::ClusterSize
        | ErrorKind::NoReservedSectors
        | ErrorKind::NoFats
        | ErrorKind::MediaByte
        | ErrorKind::NoFatSize
        | ErrorKind::NoTotal
        | ErrorKind::NoDataRegion
        | ErrorKind::NoClusters
        | ErrorKind::RootEntries
        | ErrorKind::TypeConflict
        | ErrorKind::TooManyClusters
        | ErrorKind::FatTooShort
        | ErrorKind::LiveFat
        | ErrorKind::Version
        | ErrorKind::RootCluster
        | ErrorKind::VolumePastEnd => both(
            "Format the stick as FAT32 (this erases it), and copy the file again.",
            "Format the stick as FAT32. That erases everything on it, so copy what you want to keep first. Then copy the update \
             file to it again. A stick of 32 GB or less is easiest.",
        ),
        ErrorKind::FirstCluster
        | ErrorKind::ChainOutside
        | ErrorKind::ChainFree
        | ErrorKind::ChainBad
        | ErrorKind::ChainLoop
        | ErrorKind::ChainShort
        | ErrorKind::FileTooLarge
        | ErrorKind::DirectoryTooLong => both(
            "Copy the file again, and eject the stick before you pull it out.",
            "Copy the file again, and eject the stick before you pull it out. If that does not help, format the stick as FAT32; \
             that erases everything on it.",
        ),
        ErrorKind::IsDirectory | ErrorKind::IsFile => WRITE_TO_MAKER,
    }
}

const WRITE_TO_MAKER: Wording = same("Write to the maker: neither stick nor file is at fault.");

fn owners_remedy_of_file(refusal: Refusal) -> Wording {
    match refusal {
        Refusal::NoRecipient => both(
            "This file is for units of another production period: ask the maker for yours.",
            "Write to us with the serial number of your unit: you need the file for its production period.",
        ),
        Refusal::NoSignature | Refusal::UnknownSigner | Refusal::BadSignature => {
            same("Do not use this file: the maker has not signed it. Get it from the maker again.")
        }
        Refusal::Incomplete => WRITE_TO_MAKER,
        other => match AtFault::of(Reason::File(other)) {
            AtFault::Copy => both(
                "The file is damaged or incomplete: copy it again from the maker, and eject the stick.",
                "Get the file from us again, copy it to the top of the stick, and eject the stick before you pull it out. If \
                 the code stays, write to us.",
            ),
            _ => same("This file is of a kind that this unit does not know: ask the maker for the one that is for it."),
        },
    }
}

// For the maker.

pub(super) fn maker(reason: Reason, at_fault: AtFault) -> Told {
    Told {
        cause: makers_cause(reason, at_fault),
        remedy: makers_remedy(at_fault),
    }
}

pub(super) const fn makers_remedy(at_fault: AtFault) -> Wording {
    match at_fault {
        AtFault::Nobody => same("Nothing is wrong. Send the update that the unit waits for."),
        AtFault::Stick => both(
            "If the owner's remedy does not help, ask for an image of the stick.",
            "If that does not help, ask for an image of the whole stick: `packstaff stick examine` shows the figures behind the code.",
        ),
        AtFault::Copy => both(
            "If a fresh copy does not help, ask for the file, and compare it with the ledger's.",
            "If a fresh copy does not help, ask for an image of the stick or for the file: `packstaff stick examine` compares it with \
             the ledger's.",
        ),
        AtFault::Choice => both(
            "Name the file that is for this unit, and see whether the sheet tells the files apart.",
            "Name the file that is for this unit. Where owners often take the wrong one, the sheet does not tell the files apart.",
        ),
        AtFault::File => both(
            "Do not hand this file out for such units.",
            "Do not hand this file out for such units. `packstaff look` shows what is in it; a release for this board would not have \
             been made so.",
        ),
        AtFault::Stranger => both(
            "Ask where the file came from.",
            "Ask where the file came from, and for the file. If it is yours, these units do not have the key that signed it.",
        ),
        AtFault::Unit => both(
            "Ask for a read-out of flash.",
            "Ask for a read-out of flash for `packstaff trace`. If the code stays, cells are worn out or the supply drops while they \
             are written: the unit wants a closer look.",
        ),
        AtFault::Port => both(
            "Mend the port, and check it again.",
            "Mend the port: it calls the installer in another order than it should. `packstaff port check` tries it.",
        ),
    }
}

fn makers_cause(reason: Reason, at_fault: AtFault) -> Wording {
    match reason {
        Reason::Stick(kind) => {
            let line = makers_cause_of_stick(kind);
            let more = match kind as u16 {
                30..=59 => {
                    ". Formatting does not leave a volume so: its first sector was damaged, or another program made it"
                }
                60..=67 => ". The stick was most likely pulled out while something was being written",
                _ => "",
            };
            with_more(line.into(), more)
        }
        Reason::File(refusal) => {
            let more = match at_fault {
                AtFault::Copy => ". The file was read back before it left the bench: it was damaged on its way",
                AtFault::File => ". The signer has made the file so",
                _ => "",
            };
            with_more(makers_cause_of_file(refusal), more)
        }
        Reason::StickUnreadable => both(
            "the stick could not be read",
            "a block of the stick could not be read, or the stick was pulled out",
        ),
        Reason::NoUpdate => both(
            "there is no update file at the top of the stick",
            "no file in the stick's root directory has the ending of updates or begins as one",
        ),
        Reason::StickChanged => both(
            "the file on the stick is not the one that was picked",
            "the stick did not answer the second time as it had the first: another stick, or another file",
        ),
        Reason::OtherName => both(
            "this is an update file, but its name has another ending",
            "a file begins as an update, and its name has another ending",
        ),
        Reason::OtherMaker => both(
            "this file is by another maker",
            "the signature holds, and the manifest has another vendor identifier",
        ),
        Reason::OtherProduct => both(
            "this file is for another product",
            "the class identifier is of no board of this product",
        ),
        Reason::OtherBoard => both(
            "this file is for another board revision",
            "the class identifier is that of another board revision of this product",
        ),
        Reason::BelowFloor => both(
            "the maker has barred this version for this unit",
            "the file's issue is below the unit's floor: an issue that bars it was installed before",
        ),
        Reason::TooLarge => both(
            "the image is larger than this unit's slot",
            "the image that the manifest states is larger than the unit's place for it",
        ),
        Reason::NoImage => both(
            "the unit has no firmware to start",
            "no record names an image that counts: the unit is new, or an install was cut short",
        ),
        Reason::ImageDamaged => both(
            "the unit's firmware is damaged",
            "a record counts, and the image that it names has another digest",
        ),
        Reason::FlashFault => both(
            "the unit's flash could not be erased or programmed",
            "the unit's flash could not be erased or programmed: the driver reported a fault",
        ),
        Reason::FlashDiffers => both(
            "what was stored is not what was signed",
            "flash, read back after it was programmed, has another digest than the image that was signed",
        ),
        Reason::FloorFault => both(
            "the unit's record of installed issues could not be written",
            "the unit's record of installed issues (the register) could not be erased or programmed",
        ),
        Reason::Declined => both(
            "nothing was picked, and there is nothing to start",
            "the owner picked nothing from the list, and there is no image to start",
        ),
    }
}

fn with_more(line: Cow<'static, str>, more: &str) -> Wording {
    let full = match more {
        "" => line.clone(),
        _ => format!("{line}{more}").into(),
    };
    Wording { line, full }
}

const fn makers_cause_of_stick(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::EmptyDevice => "the stick reports no blocks at all",
        ErrorKind::NoSignature => {
            "the first block does not end in 55 AA, so no volume and no partition table begins there"
        }
        ErrorKind::ExFat => "the stick is formatted as exFAT; FAT12, FAT16 and FAT32 can be read",
        ErrorKind::Ntfs => "the stick is formatted as NTFS; FAT12, FAT16 and FAT32 can be read",
        ErrorKind::BitLocker => "the stick is encrypted; an unlocked FAT stick can be read",
        ErrorKind::Gpt => "the stick has a GUID partition table; a master boot record can be read",
        ErrorKind::NotFat => "the first block begins neither a FAT volume nor a partition table",
        ErrorKind::StartUpOnly => {
            "the stick was made to start a computer, and has no FAT partition beside the one for that"
        }
        ErrorKind::ExtendedOnly => "the partition table lists only extended partitions; a primary one can be read",
        ErrorKind::PartitionEmpty => "a partition starts at block 0 or has no length",
        ErrorKind::PartitionOutside => "a partition starts beyond the end of the stick",
        ErrorKind::SectorSize => "boot sector, byte 11: sectors of another size than 512, 1024, 2048 or 4096 bytes",
        ErrorKind::ClusterSize => "boot sector, byte 13: the cluster is no power of two of sectors, or over 64 KiB",
        ErrorKind::NoReservedSectors => "boot sector, byte 14: no reserved sectors",
        ErrorKind::NoFats => "boot sector, byte 16: no FATs",
        ErrorKind::MediaByte => "boot sector, byte 21: a media byte other than F0 and F8 to FF",
        ErrorKind::NoFatSize => "boot sector, bytes 22 and 36: FAT size 0",
        ErrorKind::NoTotal => "boot sector, bytes 19 and 32: 0 sectors in all",
        ErrorKind::NoDataRegion => "the data would begin beyond the end of the volume",
        ErrorKind::NoClusters => "the volume has room for no cluster at all",
        ErrorKind::RootEntries => "boot sector, byte 17: root entries on FAT32, or none on FAT12 or FAT16",
        ErrorKind::TypeConflict => {
            "the boot sector is that of FAT12 or FAT16, and the volume has more clusters than those number"
        }
        ErrorKind::TooManyClusters => "the volume has more clusters than FAT32 numbers",
        ErrorKind::FatTooShort => "the FAT is too short for the clusters of the volume",
        ErrorKind::LiveFat => "boot sector, byte 40: the FAT that is to be used is not there",
        ErrorKind::Version => "boot sector, byte 42: a FAT32 version other than 0.0",
        ErrorKind::RootCluster => "boot sector, byte 44: the root begins in a cluster that is not there",
        ErrorKind::VolumePastEnd => "the volume claims more blocks than its partition or the stick has",
        ErrorKind::FirstCluster => "the directory entry names a first cluster that is not there",
        ErrorKind::ChainOutside => "a chain leads to a cluster that is not there",
        ErrorKind::ChainFree => "a cluster is in use but marked free",
        ErrorKind::ChainBad => "a cluster is in use but its successor is marked bad",
        ErrorKind::ChainLoop => "a chain comes back to a cluster of its own and never ends",
        ErrorKind::ChainShort => "a chain ends before its file does",
        ErrorKind::FileTooLarge => "a file claims more bytes than the volume has",
        ErrorKind::DirectoryTooLong => "a folder has more than 65536 entries",
        ErrorKind::IsDirectory => "a folder was read as a file",
        ErrorKind::IsFile => "a file was read as a folder",
    }
}

fn makers_cause_of_file(refusal: Refusal) -> Cow<'static, str> {
    let text = match refusal {
        Refusal::NotAnUpdate => "this is not an update file: it does not begin with D8 6B",
        Refusal::Incomplete => "the header was judged before it was read to its end",
        Refusal::Truncated => "the file ends before the update does",
        Refusal::Trailing => "bytes follow the payload",
        Refusal::TooLarge => "the header is larger than a unit has room for",
        Refusal::Empty => "the payload has no bytes",
        Refusal::Version => "the manifest's structure version is not 1; this unit reads version 1 only",
        Refusal::ManifestDigest => "the manifest is not the one that was signed",
        Refusal::NoSignature => "nobody has signed this file",
        Refusal::UnknownSigner => "nobody that this unit trusts has signed this file",
        Refusal::BadSignature => "the signature does not hold",
        Refusal::TextDigest => "the text is not the one that was signed",
        Refusal::SizeMismatch => "the stated sizes of image and payload differ",
        Refusal::Component => "the components are not the two of this profile",
        Refusal::PayloadName => "the payload is not called #fw",
        Refusal::NotEncrypted => "the file states no encryption; this unit takes encrypted images only",
        Refusal::NoRecipient => "the file cannot be read with this unit's generation of keys",
        Refusal::KeyUnwrap => "the content key does not open with this unit's key",
        Refusal::ReleaseNumbers => "the version is not one to three whole numbers",
        Refusal::PayloadDigest => "the payload is not the one that was signed",
        Refusal::ImageDigest => "the decrypted image is not the one that was signed",
        Refusal::SignatureMissing => "the file lacks a second signature that this unit demands",
        Refusal::Malformed(place) => return in_part(place.part, ": ", refusal),
        Refusal::UnknownCritical(at) | Refusal::Missing(at) | Refusal::UnknownAlgorithm(at) | Refusal::Template(at) => {
            return in_part(at, " ", refusal);
        }
    };
    text.into()
}

fn in_part(at: Part, between: &str, refusal: Refusal) -> Cow<'static, str> {
    [part(at), between, found_in_part(refusal).unwrap_or_default()]
        .concat()
        .into()
}

pub(super) const fn part(part: Part) -> &'static str {
    match part {
        Part::Envelope => "the envelope",
        Part::Wrapper => "the authentication wrapper",
        Part::Signature => "a signature block",
        Part::Manifest => "the manifest",
        Part::Common => "the manifest's common block",
        Part::Shared => "the shared command sequence",
        Part::Install => "the install command sequence",
        Part::Validate => "the validate command sequence",
        Part::Invoke => "the invoke command sequence",
        Part::SetVersion => "the version element",
        Part::Encryption => "the encryption information",
        Part::Recipient => "a recipient of the content key",
        Part::Text => "the text element",
    }
}

pub(super) const fn found_in_part(refusal: Refusal) -> Option<&'static str> {
    Some(match refusal {
        Refusal::Malformed(place) => match place.fault {
            Fault::Cut => "an item runs past the end of what encloses it",
            Fault::NotShortest => "a head is longer than its value needs",
            Fault::Indefinite => "a length is left open; lengths must be stated",
            Fault::Kind => "another kind of item was expected",
            Fault::KeyOrder => "a key is missing or out of order",
            Fault::DuplicateKey => "a key stands twice",
            Fault::ExtraBytes => "bytes follow the last item",
            Fault::Value => "a number or a length is outside what the profile allows",
            Fault::TooDeep => "items are nested too deeply",
            Fault::NotUtf8 => "a text is not UTF-8",
        },
        Refusal::UnknownCritical(_) => "holds something that this unit does not know and must not skip",
        Refusal::Missing(_) => "lacks something that every update file must have",
        Refusal::UnknownAlgorithm(_) => "names an algorithm that this unit does not have",
        Refusal::Template(_) => "is not arranged as this profile arranges it",
        _ => return None,
    })
}
