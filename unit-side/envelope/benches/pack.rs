//! What a release costs on the host: writing, opening and looking at an update file with an image of 1 MiB.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::{
    Anchor, Draft, HeaderReader, Kid, TextEntry, TextItem, UnitKey, encode, encode_checked, look, open,
};
use std::hint::black_box;

const IMAGE: usize = 1 << 20;

fn bench(criterion: &mut Criterion) {
    let image: Vec<u8> = (0..IMAGE as u32)
        .flat_map(|word| word.wrapping_mul(0x9e37_79b9).to_le_bytes())
        .take(IMAGE)
        .collect();
    let signer = SigningKey::from_bytes(&[7; 32]);
    let sign = |message: &[u8]| signer.sign(message).to_bytes();
    let kid = |name: &[u8]| Kid::new(name).expect("a short name");
    let anchor = Anchor::ed25519(kid(b"maker-1"), signer.verifying_key().to_bytes());
    let keys = [
        UnitKey {
            kid: kid(b"g1"),
            key: [1; 32],
        },
        UnitKey {
            kid: kid(b"g2"),
            key: [2; 32],
        },
    ];
    let text = [TextEntry {
        language: "en".into(),
        item: TextItem::ModelName,
        value: "KC-4".into(),
    }];
    let draft = Draft {
        sequence: 1,
        version: &[2, 1],
        vendor: [3; 16],
        class: [4; 16],
        image: &image,
        text: &text,
        recipients: &keys,
        content_key: [5; 32],
        iv: packstaff_envelope::encode::iv([6; 12]),
    };
    let file = encode(&draft, b"maker-1", sign).expect("a good draft");

    let mut group = criterion.benchmark_group("1 MiB");
    group.throughput(Throughput::Bytes(IMAGE as u64));
    group.bench_function("encode", |bench| {
        bench.iter(|| encode(black_box(&draft), b"maker-1", sign))
    });
    group.bench_function("encode_checked", |bench| {
        bench.iter(|| encode_checked(black_box(&draft), &anchor, sign))
    });
    group.bench_function("open", |bench| {
        bench.iter(|| open(black_box(&file), &[anchor], &keys[0]))
    });
    group.bench_function("look", |bench| bench.iter(|| look(black_box(&file))));
    group.finish();

    criterion.bench_function("header: read and verify", |bench| {
        bench.iter(|| {
            let mut reader = HeaderReader::new(file.len() as u32);
            let fed = reader.feed(black_box(&file[..1024]));
            (fed, reader.verify(&[anchor]))
        });
    });
}

criterion_group!(benches, bench);
criterion_main!(benches);
