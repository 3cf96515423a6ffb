//! The cryptographic building blocks, against the standards' own examples and against Wycheproof.
//!
//! Examples typed from memory are marked so; a wrong digit would have made them fail.

use hex_literal::hex;
use packstaff_envelope::signature::ed25519_holds;
use packstaff_envelope::{ContentKey, Kid, PayloadCipher, UnitKey, cipher};
use proptest::prelude::*;
use wycheproof::TestResult;

fn apply(key: [u8; 32], iv: [u8; 16], offset: u32, bytes: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    PayloadCipher::new(&ContentKey::new(key), &iv).apply(offset, &mut out);
    out
}

/// FIPS 197, C.3 (from memory): one block of AES-256, seen through counter mode over zeros.
#[test]
fn fips_197_aes_256() {
    let key = core::array::from_fn(|index| index as u8);
    let block = hex!("00112233445566778899aabbccddeeff");
    assert_eq!(apply(key, block, 0, &[0; 16]), hex!("8ea2b7ca516745bfeafc49904b496089"));
}

/// NIST SP 800-38A, F.5.5 and F.5.6 (from memory).
#[test]
fn sp_800_38a_ctr_aes_256() {
    let key = hex!("603deb1015ca71be2b73aef0857d77811f352c073b6108d72d9810a30914dff4");
    let counter = hex!("f0f1f2f3f4f5f6f7f8f9fafbfcfdfeff");
    let clear = hex!(
        "6bc1bee22e409f96e93d7e117393172a ae2d8a571e03ac9c9eb76fac45af8e51"
        "30c81c46a35ce411e5fbc1191a0a52ef f69f2445df4f9b17ad2b417be66c3710"
    );
    let secret = hex!(
        "601ec313775789a5b7a7f504bbf3d228 f443e3ca4d62b59aca84e990cacaf5c5"
        "2b0930daa23de94ce87017ba2d84988d dfc9c58db67aada613c2dd08457941a6"
    );
    assert_eq!(apply(key, counter, 0, &clear), secret);
    for offset in 0..64 {
        assert_eq!(
            apply(key, counter, offset as u32, &secret[offset..]),
            clear[offset..],
            "from byte {offset}"
        );
    }
}

/// RFC 9459, 4: the counter is the IV plus the block number, modulo 2^128.
#[test]
fn the_counter_carries_through_all_128_bits() {
    let key = [0x33; 32];
    assert_eq!(apply(key, [0xff; 16], 16, &[0; 16]), apply(key, [0; 16], 0, &[0; 16]));
    let low_word_full = hex!("00000000000000000000000 0ffffffff");
    let carried = hex!("00000000000000000000000100000000");
    assert_eq!(
        apply(key, low_word_full, 16, &[0; 16]),
        apply(key, carried, 0, &[0; 16])
    );
}

/// RFC 3394, 4.6 (from memory): 256 bits of key data with a 256-bit key.
#[test]
fn rfc_3394_wrap_and_unwrap() {
    let key = UnitKey {
        kid: Kid::new(b"k").unwrap(),
        key: core::array::from_fn(|index| index as u8),
    };
    let data = ContentKey::new(hex!("00112233445566778899aabbccddeeff000102030405060708090a0b0c0d0e0f"));
    let wrapped = hex!("28c9f404c4b810f4cbccb35cfb87f8263f5786e2d80ed326cbc7f0e71a99f43bfb988b9b7a02dd21");
    assert_eq!(cipher::wrap_key(&key, &data), Some(wrapped));
    assert_eq!(cipher::unwrap_key(&key, &wrapped), Some(data));
    for byte in 0..wrapped.len() {
        let mut changed = wrapped;
        changed[byte] ^= 1;
        assert_eq!(cipher::unwrap_key(&key, &changed), None, "byte {byte}");
    }
}

/// RFC 8032, 7.1, TEST 1, 2 and 3 (from memory).
#[test]
fn rfc_8032_ed25519() {
    let tests = [
        (
            hex!("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"),
            &hex!("")[..],
            hex!(
                "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
                "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
            ),
        ),
        (
            hex!("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"),
            &hex!("72"),
            hex!(
                "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
                "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
            ),
        ),
        (
            hex!("fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025"),
            &hex!("af82"),
            hex!(
                "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
                "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"
            ),
        ),
    ];
    for (key, message, signature) in tests {
        assert!(ed25519_holds(&key, message, &signature));
        assert!(!ed25519_holds(&key, &[message, b"x"].concat(), &signature));
    }
}

/// A key of small order would let one signature hold for many messages.
#[test]
fn keys_of_small_order_are_not_taken() {
    let neutral = {
        let mut point = [0; 32];
        point[0] = 1;
        point
    };
    let mut signature = [0; 64];
    signature[0] = 1;
    assert!(!ed25519_holds(&neutral, b"anything", &signature));
}

/// Project Wycheproof, `ed25519` (crate `wycheproof`).
#[test]
fn wycheproof_ed25519() {
    use wycheproof::eddsa::{TestName, TestSet};
    let set = TestSet::load(TestName::Ed25519).unwrap();
    let mut checked = 0;
    for group in &set.test_groups {
        let key: [u8; 32] = group.key.pk[..].try_into().unwrap();
        for test in &group.tests {
            // A signature of another length cannot be in an update file: the reader refuses it before it comes here.
            let holds = <&[u8; 64]>::try_from(&test.sig[..]).is_ok_and(|sig| ed25519_holds(&key, &test.msg, sig));
            assert_eq!(
                holds,
                test.result == TestResult::Valid,
                "test {}: {}",
                test.tc_id,
                test.comment
            );
            checked += 1;
        }
    }
    assert!(checked > 100, "{checked} tests");
}

/// Project Wycheproof, `aes_wrap`: those with a 256-bit key and 40 wrapped bytes, the only ones that a file can hold.
#[test]
fn wycheproof_aes_key_wrap() {
    use wycheproof::keywrap::{TestName, TestSet};
    let set = TestSet::load(TestName::AesKeyWrap).unwrap();
    let (mut valid, mut invalid) = (0, 0);
    for test in set.test_groups.iter().flat_map(|group| &group.tests) {
        let (Ok(key), Ok(wrapped)) = (test.key[..].try_into(), test.ct[..].try_into()) else {
            continue;
        };
        let key = UnitKey {
            kid: Kid::new(b"k").unwrap(),
            key,
        };
        let expected = match test.result {
            TestResult::Valid => {
                valid += 1;
                Some(ContentKey::new(test.pt[..].try_into().unwrap()))
            }
            _ => {
                invalid += 1;
                None
            }
        };
        assert_eq!(
            cipher::unwrap_key(&key, wrapped),
            expected,
            "test {}: {}",
            test.tc_id,
            test.comment
        );
    }
    assert!(valid > 0 && invalid > 0, "{valid} valid, {invalid} invalid");
}

proptest! {
    #[test]
    fn any_piece_decrypts_alone(key: [u8; 32], iv: [u8; 16], bytes in proptest::collection::vec(any::<u8>(), 1..300), cut: prop::sample::Index) {
        let cut = cut.index(bytes.len());
        let whole = apply(key, iv, 0, &bytes);
        let (first, second) = bytes.split_at(cut);
        prop_assert_eq!([apply(key, iv, 0, first), apply(key, iv, cut as u32, second)].concat(), whole);
    }

    #[test]
    fn offsets_reach_the_end_of_32_bits(iv: [u8; 16], offset in (u32::MAX - 64)..=u32::MAX) {
        let block = offset / 16;
        let counter = u128::from_be_bytes(iv).wrapping_add(u128::from(block)).to_be_bytes();
        let expected = &apply([9; 32], counter, 0, &[0; 32])[(offset % 16) as usize..][..16];
        prop_assert_eq!(apply([9; 32], iv, offset, &[0; 16]), expected);
    }
}
