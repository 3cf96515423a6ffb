//! Why an image cannot be made, and why a stick cannot be read.

use std::io;
use std::path::PathBuf;

use packstaff_fat::{Calendar, Kind};
use thiserror::Error;

/// Why a stick image cannot be made.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StickError {
    /// A name is empty.
    #[error("the file name is empty; give one of 1 to 8 characters, and an ending of at most 3")]
    NameEmpty,
    /// A name does not fit 8 + 3.
    #[error(
        "the file name \"{name}\" has {base} characters and an ending of {extension}; at most 8 and 3 fit, so shorten it"
    )]
    NameTooLong {
        /// The name.
        name: String,
        /// Characters before the dot.
        base: usize,
        /// Characters after it.
        extension: usize,
    },
    /// A name has a character that not all systems take.
    #[error(
        "the file name \"{name}\" has the character {character:?}; use A to Z, 0 to 9, one dot and ! # $ % & ' ( ) - @ ^ _ ` {{ }} ~"
    )]
    NameCharacter {
        /// The name.
        name: String,
        /// The character.
        character: char,
    },
    /// A name has lower-case letters.
    #[error(
        "the file name \"{name}\" has lower-case letters, which would need a long name beside it; write it in upper case"
    )]
    NameLowerCase {
        /// The name.
        name: String,
    },
    /// A name has a dot too many, or at an end.
    #[error("the file name \"{name}\" may have one dot, with something before it and after it")]
    NameDots {
        /// The name.
        name: String,
    },
    /// A name belongs to a device on Windows.
    #[error("the file name \"{name}\" stands for a device on Windows, which could not open it; choose another")]
    NameOfDevice {
        /// The name.
        name: String,
    },
    /// Two files have one name.
    #[error("two files are named \"{name}\"; rename one of them")]
    NameTwice {
        /// The name.
        name: String,
    },
    /// The label cannot be stored.
    #[error(
        "the label \"{label}\" must be 1 to 11 characters of A to Z, 0 to 9, space (not first or last) and ! # $ % & ' ( ) - @ ^ _ ` {{ }} ~"
    )]
    Label {
        /// The label.
        label: String,
    },
    /// The date cannot be stored.
    #[error("the date {0:?} does not exist or cannot be stored; FAT stores 1980 to 2107")]
    Date(Calendar),
    /// The size is not whole sectors.
    #[error("a stick of {size} bytes is not a whole number of {sector}-byte sectors; make it a multiple")]
    SizeNotWhole {
        /// Bytes of the stick.
        size: u64,
        /// Bytes per sector.
        sector: u32,
    },
    /// The stick is too small for anything.
    #[error("a stick of {size} bytes has no room for a {kind} volume; make it larger")]
    TooSmall {
        /// Bytes of the stick.
        size: u64,
        /// The form of FAT.
        kind: Kind,
    },
    /// The stick is larger than sectors can be counted.
    #[error("a stick of {size} bytes has more than 4294967295 sectors of {sector} bytes; make it smaller")]
    TooLarge {
        /// Bytes of the stick.
        size: u64,
        /// Bytes per sector.
        sector: u32,
    },
    /// The cluster size cannot be.
    #[error("a cluster of {found} bytes cannot be; choose a power of two from {sector} to 65536")]
    ClusterSize {
        /// Bytes per cluster.
        found: u32,
        /// Bytes per sector.
        sector: u32,
    },
    /// No cluster size suits.
    #[error(
        "no cluster size gives a {kind} volume of {size} bytes a number of clusters that all systems read as {kind}; choose another form of FAT or another size"
    )]
    NoClusterSize {
        /// The form of FAT.
        kind: Kind,
        /// Bytes of the stick.
        size: u64,
    },
    /// The number of clusters is one that systems disagree about, or cannot be.
    #[error(
        "{clusters} clusters do not make a volume that all systems read as {kind}; {least} to {most} do. Choose another cluster size, form of FAT or size"
    )]
    ClusterCount {
        /// The form of FAT.
        kind: Kind,
        /// Clusters, as asked for.
        clusters: u64,
        /// The fewest that will do.
        least: u64,
        /// The most that will do.
        most: u64,
    },
    /// A file is too large for FAT.
    #[error("the file \"{name}\" has {size} bytes; FAT files have at most 4294967295")]
    FileTooLarge {
        /// The name.
        name: String,
        /// Its bytes.
        size: u64,
    },
    /// The root has no room for so many files.
    #[error("{files} files do not fit into the root, which has room for {most}")]
    TooManyFiles {
        /// How many there are.
        files: usize,
        /// How many fit.
        most: usize,
    },
    /// The files do not fit.
    #[error("the files need {needed} bytes of the stick, which has {available} for them; make it larger")]
    Full {
        /// Bytes needed, in whole clusters.
        needed: u64,
        /// Bytes there are.
        available: u64,
    },
    /// The image could not be written.
    #[error("could not write the stick image {path}: {source}. Nothing was left behind.")]
    Write {
        /// Where to.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Why a stick cannot be read.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadError {
    /// A block could not be read.
    #[error("could not read block {block} of the stick: {source}")]
    Read {
        /// The block.
        block: u64,
        /// Why.
        source: io::Error,
    },
    /// The stick is not as it should be.
    #[error(transparent)]
    Fat(#[from] packstaff_fat::Error),
    /// The file asked for is not there.
    #[error("there is no file \"{name}\" at the top of the stick")]
    NotFound {
        /// Its name.
        name: String,
    },
}
