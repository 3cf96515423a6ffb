//! What a cut inside a write leaves in an EEPROM or an FRAM.
//!
//! | here | what it stands for | where it was seen |
//! | --- | --- | --- |
//! | [`PageCut::Front`] | bytes up to the cut, the others as they were | a page programmed byte by byte; FRAM stores each byte as it arrives: FM25L16B, 001-84485 Rev J, p. 10 |
//! | [`PageCut::Back`] | the same from the other end | the order inside of a page write is not stated: 24LC256, DS20001203W, 6.2 |
//! | [`PageCut::Erased`] | all of the page was erased, nothing was written | a write refreshes the whole page, also the bytes that were not sent: DS20001203W, 6.3, note |
//! | [`PageCut::Neighbours`] | what was sent is there, and the rest of the page is lost | the same note |
//! | [`PageCut::Noise`] | every byte of the page may be anything, and is not the same at each read | the same note; cells between two states: Poudel, Ray, Milenkovic, ACM TECS 20(3) 2021, doi 10.1145/3448271 |
//! | [`PageCut::Wavering`] | reads as new now and may read otherwise later | supply below the minimum at the end of a write: DS20001203W gives the write time for 2.5 V and above only; Tseng, Grupp, Swanson, DAC 2011, doi 10.1145/2024724.2024733 |
//!
//! Bytes of an FRAM are old or new, each as a whole (001-84485, p. 10): of these only the first applies to it.
//!
//! Not modelled: a page that reads as *old* at one time and as new at another. Whatever is the last write of a save, a unit that
//! meets such a page comes up with the old settings once and with the new ones the next time; both are whole.

/// Where inside a write a cut fell, and what it left there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PageCut {
    /// So many bytes from the front are new, at least one and not all.
    Front(u32),
    /// So many bytes from the back are new, at least one and not all.
    Back(u32),
    /// All of the page reads as erased.
    Erased,
    /// What was sent is new, all other bytes of the page are anything.
    Neighbours,
    /// All of the page is anything, and not the same at each read.
    Noise,
    /// All of the page reads as it should, and may read otherwise later.
    Wavering,
}

impl PageCut {
    /// In plain words, for a story.
    pub fn words(self) -> String {
        match self {
            Self::Front(bytes) => format!("its first {bytes} bytes were written, the others were as before"),
            Self::Back(bytes) => format!("its last {bytes} bytes were written, the others were as before"),
            Self::Erased => "the page read as erased".to_owned(),
            Self::Neighbours => "the bytes were written, and the rest of the page was lost".to_owned(),
            Self::Noise => "the page was neither old nor new, and not the same at each read".to_owned(),
            Self::Wavering => "the page read as written, but may read otherwise later".to_owned(),
        }
    }
}
