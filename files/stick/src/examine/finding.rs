//! What an examination finds: for the owner in plain words, for the maker in exact ones, and what to do.

use packstaff_installer::Code;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; nothing needs to be done.
    Note,
    /// The unit may take the update, but it need not stay so.
    Risk,
    /// The unit does not take the update because of this.
    Stops,
}

impl Severity {
    /// One word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Risk => "risk",
            Self::Stops => "stops",
        }
    }
}

/// What an examination finds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Its name, which never changes.
    pub id: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// The file or partition that it is about, if not the whole stick.
    pub about: Option<String>,
    /// What the unit shows for it, if it shows something.
    pub code: Option<Code>,
    /// For the owner.
    pub owner: String,
    /// For the maker.
    pub maker: String,
    /// What the owner does.
    pub remedy: String,
}

impl Finding {
    pub(crate) fn new(
        id: &'static str,
        severity: Severity,
        owner: impl Into<String>,
        maker: impl Into<String>,
    ) -> Self {
        Self {
            id,
            severity,
            about: None,
            code: None,
            owner: owner.into(),
            maker: maker.into(),
            remedy: NOTHING.to_owned(),
        }
    }

    pub(crate) fn about(mut self, what: impl Into<String>) -> Self {
        self.about = Some(what.into());
        self
    }

    pub(crate) fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = remedy.into();
        self
    }

    pub(crate) fn code(mut self, reason: impl Into<packstaff_installer::Reason>) -> Self {
        self.code = Some(reason.into().code());
        self
    }
}

pub(crate) const NOTHING: &str = "Nothing needs to be done.";
pub(crate) const FORMAT: &str =
    "Format the stick as FAT32 (this erases it), then copy the file again. A stick of 32 GB or less is easiest.";
pub(crate) const ERASE: &str = "Erase the whole stick with the scheme \"Master Boot Record\" and one FAT32 volume (this erases it), then copy the file again.";
pub(crate) const COPY: &str =
    "Copy the file again, wait until the computer has finished, and eject the stick before you pull it out.";
pub(crate) const FETCH: &str =
    "Get the file from us again, copy it to the top of the stick, and eject the stick before you pull it out.";
pub(crate) const OTHER_STICK: &str = "Take another stick, and copy the file to it.";
pub(crate) const IMAGE_AGAIN: &str = "Make the image of the stick again, of the whole stick, and send it as it is.";
