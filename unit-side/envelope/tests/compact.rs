//! The units' small primitives against the libraries' and against the standards. Wycheproof's vectors are Google's.

use ed25519_dalek::{Signer, SigningKey, VerifyingKey};
use hex_literal::hex;
use packstaff_envelope::compact::{aes256, ed25519, sha2};
use packstaff_envelope::{ContentKey, Kid, PayloadCipher, UnitKey, cipher};
use proptest::prelude::*;
use wycheproof::TestResult;

fn by_library(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
    let signature = ed25519_dalek::Signature::from_bytes(signature);
    VerifyingKey::from_bytes(key).is_ok_and(|key| key.verify_strict(message, &signature).is_ok())
}

/// FIPS 197, C.3 (from memory): 00112233445566778899aabbccddeeff becomes 8ea2b7ca516745bfeafc49904b496089.
#[test]
fn fips_197_aes_256() {
    let key: [u8; 32] = core::array::from_fn(|index| index as u8);
    let clear = [0x3322_1100, 0x7766_5544, 0xbbaa_9988, 0xffee_ddcc];
    let secret = [0xcab7_a28e, 0xbf45_6751, 0x9049_fcea, 0x8960_494b];
    let aes = aes256::Aes256::new(&key);
    assert_eq!(aes.encrypt(clear), secret);
    assert_eq!(aes.decrypt(secret), clear);
}

/// RFC 3394, 4.6 (from memory).
#[test]
fn rfc_3394_unwrap() {
    let key = core::array::from_fn(|index| index as u8);
    let wrapped = hex!("28c9f404c4b810f4cbccb35cfb87f8263f5786e2d80ed326cbc7f0e71a99f43bfb988b9b7a02dd21");
    let data = hex!("00112233445566778899aabbccddeeff000102030405060708090a0b0c0d0e0f");
    assert_eq!(aes256::unwrap(&key, &wrapped), Some(data));
    for bit in 0..wrapped.len() * 8 {
        let mut changed = wrapped;
        changed[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(aes256::unwrap(&key, &changed), None, "bit {bit}");
    }
}

/// All of Wycheproof's Ed25519 vectors; the library must agree on every one.
#[test]
fn wycheproof_ed25519() {
    let set = wycheproof::eddsa::TestSet::load(wycheproof::eddsa::TestName::Ed25519).unwrap();
    let mut count = 0;
    for group in &set.test_groups {
        let Ok(key) = <[u8; 32]>::try_from(&group.key.pk[..]) else {
            panic!("a key of {} bytes", group.key.pk.len());
        };
        for test in &group.tests {
            let holds =
                <[u8; 64]>::try_from(&test.sig[..]).is_ok_and(|signature| ed25519::holds(&key, &test.msg, &signature));
            assert_eq!(holds, test.result == TestResult::Valid, "test {}", test.tc_id);
            count += 1;
        }
    }
    assert!(count > 100, "{count}");
}

/// The eight points of small order and other encodings of some of them (the first and last of the list are RFC 8032's neutral
/// point and p + 1; the others from memory, held against the library): as keys and as the signature's point.
#[test]
fn small_orders_and_other_encodings_are_judged_as_by_the_library() {
    let encodings = [
        hex!("0100000000000000000000000000000000000000000000000000000000000000"),
        hex!("ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f"),
        hex!("0000000000000000000000000000000000000000000000000000000000000000"),
        hex!("0000000000000000000000000000000000000000000000000000000000000080"),
        hex!("26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05"),
        hex!("26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85"),
        hex!("c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a"),
        hex!("c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa"),
        hex!("0100000000000000000000000000000000000000000000000000000000000080"),
        hex!("edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f"),
        hex!("eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f"),
        hex!("eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff"),
    ];
    let honest = SigningKey::from_bytes(&[7; 32]);
    for key in encodings.into_iter().chain([honest.verifying_key().to_bytes()]) {
        for point in encodings {
            for s in [
                [0; 32],
                hex!("0500000000000000000000000000000000000000000000000000000000000000"),
            ] {
                let signature: [u8; 64] = [point, s].concat().try_into().unwrap();
                assert!(!ed25519::holds(&key, b"kiln", &signature));
                assert!(!by_library(&key, b"kiln", &signature));
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn signatures_hold_as_by_the_library(secret: [u8; 32], message in proptest::collection::vec(any::<u8>(), 0..300), bit in 0..512_usize) {
        let signing = SigningKey::from_bytes(&secret);
        let key = signing.verifying_key().to_bytes();
        let signature = signing.sign(&message).to_bytes();
        prop_assert!(ed25519::holds(&key, &message, &signature));
        let mut changed = signature;
        changed[bit / 8] ^= 1 << (bit % 8);
        prop_assert!(!ed25519::holds(&key, &message, &changed));
        prop_assert!(!by_library(&key, &message, &changed));
        let mut other = key;
        other[(bit / 8) % 32] ^= 1 << (bit % 8);
        prop_assert_eq!(ed25519::holds(&other, &message, &signature), by_library(&other, &message, &signature));
    }

    /// S + L is as good as S to a lax verifier (RFC 8032, 5.1.7 forbids it).
    #[test]
    fn a_second_half_beyond_the_order_is_refused(secret: [u8; 32]) {
        let order: [u64; 4] = [0x5812_631a_5cf5_d3ed, 0x14de_f9de_a2f7_9cd6, 0, 0x1000_0000_0000_0000];
        let signing = SigningKey::from_bytes(&secret);
        let mut signature = signing.sign(b"kiln").to_bytes();
        let mut carry = 0_u128;
        for (index, word) in order.into_iter().enumerate() {
            let place = &mut signature[32 + 8 * index..40 + 8 * index];
            carry += u128::from(u64::from_le_bytes((&*place).try_into().unwrap())) + u128::from(word);
            place.copy_from_slice(&(carry as u64).to_le_bytes());
            carry >>= 64;
        }
        prop_assert!(!ed25519::holds(&signing.verifying_key().to_bytes(), b"kiln", &signature));
    }

    #[test]
    fn counter_mode_is_the_library_s(key: [u8; 32], iv: [u8; 16], offset: u32, bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let mut ours = bytes.clone();
        aes256::apply_counter_mode(&key, &iv, offset, &mut ours);
        let mut library = bytes;
        PayloadCipher::new(&ContentKey::new(key), &iv).apply(offset, &mut library);
        prop_assert_eq!(ours, library);
    }

    #[test]
    fn compressions_are_the_library_s(state: [u32; 8], long_state: [u64; 8], block in proptest::array::uniform32(any::<[u8; 4]>())) {
        let long: [u8; 128] = block.concat().try_into().unwrap();
        let short: [u8; 64] = long[..64].try_into().unwrap();
        let (mut ours, mut library) = (state, state);
        sha2::compress256(&mut ours, &short);
        ::sha2::block_api::compress256(&mut library, &[short]);
        prop_assert_eq!(ours, library);
        let mut ours = state;
        sha2::compress256_written_out(&mut ours, &short);
        prop_assert_eq!(ours, library);
        let (mut ours, mut library) = (long_state, long_state);
        sha2::compress512(&mut ours, &long);
        ::sha2::block_api::compress512(&mut library, &[long]);
        prop_assert_eq!(ours, library);
    }

    #[test]
    fn unwrapping_is_the_library_s(key: [u8; 32], content: [u8; 32]) {
        let unit = UnitKey { kid: Kid::new(b"g").unwrap(), key };
        let wrapped = cipher::wrap_key(&unit, &ContentKey::new(content)).unwrap();
        prop_assert_eq!(aes256::unwrap(&key, &wrapped), Some(content));
    }
}
