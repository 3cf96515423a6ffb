//! Update files.

use super::Description;
use packstaff_envelope::ids::{ALG_ED25519, ALG_HSS_LMS};
use packstaff_envelope::look as look_at;
use packstaff_product::Uuid;
use packstaff_words::text::{bytes, hex};

const TAG: [u8; 2] = [0xd8, 0x6b];

pub(super) fn look(file: &[u8]) -> Option<Description> {
    if !file.starts_with(&TAG) {
        return None;
    }
    let seen = match look_at(file) {
        Ok(seen) => seen,
        Err(refusal) => {
            let mut description = Description::new("An update file, damaged");
            description.line("size", bytes(file.len() as u64));
            description.line("refused", format!("{refusal} (F{})", refusal.code()));
            return Some(description);
        }
    };
    let mut description = Description::new("An update file (a SUIT envelope)");
    description.line("version", seen.version);
    description.line("issue", seen.sequence);
    description.line("vendor", Uuid::from_bytes(seen.vendor));
    description.line("class", Uuid::from_bytes(seen.class));
    description.line(
        "image",
        format!(
            "{}, SHA-256 {}",
            bytes(u64::from(seen.image_size)),
            hex(&seen.image_digest)
        ),
    );
    for signer in &seen.signers {
        let kid = signer
            .kid
            .map_or_else(|| "another algorithm".to_owned(), |kid| kid.to_string());
        let how = match (signer.algorithm, signer.leaf) {
            (Some(ALG_ED25519), _) => ", Ed25519".to_owned(),
            (Some(ALG_HSS_LMS), Some(number)) => format!(", HSS-LMS, one-time key {number}"),
            (Some(ALG_HSS_LMS), None) => ", HSS-LMS".to_owned(),
            _ => String::new(),
        };
        description.line("signed by", format!("{kid}{how}"));
    }
    for recipient in &seen.recipients {
        description.line("for generation", recipient);
    }
    for entry in &seen.text_entries {
        description.line(&format!("text ({}) {:?}", entry.language, entry.item), entry.shown());
    }
    let span = |span: packstaff_envelope::look::Span| format!("{} at {}", bytes(u64::from(span.size)), span.offset);
    description.line("wrapper", span(seen.wrapper));
    description.line(
        "manifest",
        format!("{}, SHA-256 {}", span(seen.manifest), hex(&seen.manifest_digest)),
    );
    if let Some(text) = seen.text {
        description.line("text", span(text));
    }
    description.line(
        "payload",
        format!("{}, SHA-256 {}", span(seen.payload), hex(&seen.payload_digest)),
    );
    description.line("first counter", hex(&seen.iv));
    description.line(
        "file",
        format!(
            "{}, SHA-256 {}",
            bytes(file.len() as u64),
            hex(&packstaff_envelope::sha256(file))
        ),
    );
    let holds = seen.manifest_digest_holds
        && seen.payload_digest_holds
        && seen.sizes_hold
        && seen.text_digest_holds != Some(false);
    description.line("agrees with itself", if holds { "yes" } else { "NO: it is damaged" });
    description
        .remark("No signature was checked: anybody can write such a file. A unit checks it, and so does a release.");
    Some(description)
}
