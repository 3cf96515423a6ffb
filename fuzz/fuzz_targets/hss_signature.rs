//! HSS-LMS signatures and public keys of any bytes, and RFC 8554's own with bytes changed.
//!
//! The first byte chooses. Odd: the rest is a public key and a signature. Even: one of the standard's test cases with its
//! length cut and bytes changed, each by three bytes of input: a place and the new value.

#![no_main]

use std::sync::OnceLock;

use packstaff_envelope::hss::{PUBLIC_KEY, holds, stated_leaf};
use libfuzzer_sys::fuzz_target;
use sample::field;

#[path = "support/sample.rs"]
mod sample;

const VECTORS: &str = include_str!("../../unit-side/envelope/tests/vectors/rfc-8554.txt");

struct Good {
    key: [u8; PUBLIC_KEY],
    message: Vec<u8>,
    signature: Vec<u8>,
}

fn good(case: u8) -> &'static Good {
    static GOOD: OnceLock<[Good; 2]> = OnceLock::new();
    let cases = GOOD.get_or_init(|| {
        [1, 2].map(|case| {
            let of_case = |name: &str| field(VECTORS, &format!("{name}_{case}"));
            Good {
                key: of_case("public_key").try_into().unwrap(),
                message: of_case("message"),
                signature: of_case("signature"),
            }
        })
    });
    &cases[usize::from(case % 2)]
}

fuzz_target!(|input: &[u8]| {
    let [choice, rest @ ..] = input else {
        return;
    };
    if choice % 2 == 1 {
        if let Some((key, signature)) = rest.split_first_chunk() {
            assert!(!holds(key, b"message", signature), "nobody can forge a signature");
            let _ = stated_leaf(signature);
        }
        return;
    }
    let good = good(choice / 2);
    let (mut key, mut signature) = (good.key, good.signature.clone());
    let mut changes = rest.chunks_exact(3);
    for change in changes.by_ref() {
        let place = usize::from(u16::from_le_bytes([change[0], change[1]])) % (PUBLIC_KEY + signature.len());
        match key.get_mut(place) {
            Some(byte) => *byte = change[2],
            None => signature[place - PUBLIC_KEY] = change[2],
        }
    }
    if let [cut, ..] = changes.remainder() {
        signature.truncate(signature.len() - usize::from(*cut));
    }
    let unchanged = key == good.key && signature == good.signature;
    assert_eq!(holds(&key, &good.message, &signature), unchanged);
});
