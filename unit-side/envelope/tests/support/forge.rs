//! Builds update files item by item, so that a test can change any one of them and sign the result.

use packstaff_envelope::signature::SigStructure;
use packstaff_envelope::{Algorithm, Sha256, sha256};

/// A CBOR item, encoded in the shortest form unless it is [`Item::Raw`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Item {
    Int(i64),
    Bytes(Vec<u8>),
    Text(&'static str),
    Array(Vec<Item>),
    Map(Vec<(Item, Item)>),
    Tag(u64, Box<Item>),
    Null,
    /// A byte string that holds one encoded item.
    Wrapped(Box<Item>),
    /// Bytes as they are.
    Raw(Vec<u8>),
}

pub use Item::{Array, Bytes, Int, Map, Null, Raw, Tag, Text, Wrapped};

pub fn wrapped(item: Item) -> Item {
    Wrapped(Box::new(item))
}

pub fn head(major: u8, argument: u64) -> Vec<u8> {
    let first = major << 5;
    match argument {
        0..=23 => vec![first | argument as u8],
        24..=0xff => vec![first | 24, argument as u8],
        0x100..=0xffff => [&[first | 25][..], &(argument as u16).to_be_bytes()].concat(),
        0x1_0000..=0xffff_ffff => [&[first | 26][..], &(argument as u32).to_be_bytes()].concat(),
        _ => [&[first | 27][..], &argument.to_be_bytes()].concat(),
    }
}

impl Item {
    pub fn encode(&self) -> Vec<u8> {
        let string = |major, bytes: &[u8]| [&head(major, bytes.len() as u64), bytes].concat();
        match self {
            Int(value @ 0..) => head(0, *value as u64),
            Int(value) => head(1, !*value as u64),
            Bytes(bytes) => string(2, bytes),
            Text(text) => string(3, text.as_bytes()),
            Array(items) => items
                .iter()
                .fold(head(4, items.len() as u64), |out, item| [out, item.encode()].concat()),
            Map(pairs) => pairs.iter().fold(head(5, pairs.len() as u64), |out, (key, value)| {
                [out, key.encode(), value.encode()].concat()
            }),
            Tag(tag, item) => [head(6, *tag), item.encode()].concat(),
            Null => vec![0xf6],
            Wrapped(item) => string(2, &item.encode()),
            Raw(bytes) => bytes.clone(),
        }
    }

    /// The item at a path of map keys and array indexes; strings that hold an item, and tags, are passed through.
    pub fn at(&mut self, path: &[usize]) -> &mut Item {
        match self {
            Wrapped(item) | Tag(_, item) => item.at(path),
            item => match (path, item) {
                ([], item) => item,
                ([step, rest @ ..], Array(items)) => items[*step].at(rest),
                ([step, rest @ ..], Map(pairs)) => {
                    let pair = pairs.iter_mut().find(|(key, _)| *key == Int(*step as i64));
                    pair.expect("the map has the key").1.at(rest)
                }
                (path, item) => panic!("{path:?} does not lead into {item:?}"),
            },
        }
    }

    /// Like [`Item::at`], but stops at the string or tag around the last item.
    pub fn around(&mut self, path: &[usize]) -> &mut Item {
        let (last, before) = path.split_last().expect("a path of at least one step");
        match self.at(before) {
            Array(items) => &mut items[*last],
            Map(pairs) => &mut pairs.iter_mut().find(|(key, _)| *key == Int(*last as i64)).unwrap().1,
            item => panic!("{last} does not lead into {item:?}"),
        }
    }

    pub fn pairs(&mut self, path: &[usize]) -> &mut Vec<(Item, Item)> {
        match self.at(path) {
            Map(pairs) => pairs,
            item => panic!("not a map: {item:?}"),
        }
    }

    pub fn items(&mut self, path: &[usize]) -> &mut Vec<Item> {
        match self.at(path) {
            Array(items) => items,
            item => panic!("not an array: {item:?}"),
        }
    }
}

/// An update file in pieces.
#[derive(Clone)]
pub struct Forge {
    /// The manifest's map.
    pub manifest: Item,
    /// The text's map, if there shall be a text.
    pub text: Option<Item>,
    pub payload: Vec<u8>,
    /// Changes the wrapper's array after it was signed.
    pub wrapper: fn(&mut Item),
    /// Changes the envelope's map at last.
    pub envelope: fn(&mut Item),
}

pub fn suit_digest(digest: [u8; 32]) -> Item {
    Array(vec![Int(-16), Bytes(digest.into())])
}

fn ints(values: &[i64]) -> Item {
    Array(values.iter().copied().map(Int).collect())
}

impl Forge {
    /// The pieces of the same file that [`super::sample_file`] encodes.
    pub fn sample() -> Self {
        let image = b"a small image, but one of two blocks";
        let generations = super::generations();
        let content_key = packstaff_envelope::ContentKey::new(core::array::from_fn(|index| 0x40 + index as u8));
        let iv = packstaff_envelope::encode::iv([0xf0; 12]);
        let mut payload = image.to_vec();
        packstaff_envelope::PayloadCipher::new(&content_key, &iv).apply(0, &mut payload);
        let recipient = |key: &packstaff_envelope::UnitKey| {
            let unprotected = Map(vec![(Int(1), Int(-5)), (Int(4), Bytes(key.kid.as_bytes().into()))]);
            let wrapped = packstaff_envelope::cipher::wrap_key(key, &content_key).unwrap();
            Array(vec![Bytes(vec![]), unprotected, Bytes(wrapped.into())])
        };
        let encryption = Array(vec![
            Bytes(vec![]),
            Map(vec![(Int(1), Int(-65532)), (Int(5), Bytes(iv.into()))]),
            Null,
            Array(generations.iter().map(recipient).collect()),
        ]);
        let size = Int(image.len() as i64);
        let shared_parameters = Map(vec![
            (Int(1), Bytes([0xaa; 16].into())),
            (Int(2), Bytes([0xbb; 16].into())),
            (Int(3), wrapped(suit_digest(sha256(image)))),
            (Int(14), size.clone()),
        ]);
        let payload_parameters = Map(vec![
            (Int(3), wrapped(suit_digest(sha256(&payload)))),
            (Int(14), size),
            (Int(21), Text("#fw")),
        ]);
        let slot_parameters = Map(vec![
            (Int(19), wrapped(Tag(96, Box::new(encryption)))),
            (Int(22), Int(1)),
        ]);
        let shared = [
            &[Int(12), Int(0), Int(20), shared_parameters][..],
            &[1, 15, 2, 15].map(Int),
        ]
        .concat();
        let install = [
            &[Int(12), Int(1), Int(20), payload_parameters][..],
            &[21, 2, 3, 15, 12, 0, 20].map(Int),
            &[slot_parameters],
            &[22, 2, 3, 15].map(Int),
        ]
        .concat();
        let components = Array(vec![Array(vec![Bytes(vec![0])]), Array(vec![Bytes(vec![1])])]);
        let common = Map(vec![(Int(2), components), (Int(4), wrapped(Array(shared)))]);
        let of_slot = Map(vec![(Int(2), Text("KC-4")), (Int(6), Text("2.1"))]);
        let text = Map(vec![(
            Text("en"),
            Map(vec![
                (Int(2), Text("Slower ramps below 200 degrees")),
                (Array(vec![Bytes(vec![0])]), of_slot),
            ]),
        )]);
        let manifest = Map(vec![
            (Int(1), Int(1)),
            (Int(2), Int(7)),
            (Int(3), wrapped(common)),
            (Int(6), wrapped(ints(&[2, 1]))),
            (Int(7), wrapped(ints(&[12, 0, 3, 15]))),
            (Int(9), wrapped(ints(&[12, 0, 23, 2]))),
            (Int(20), wrapped(Array(install))),
            (Int(23), suit_digest(sha256(&wrapped(text.clone()).encode()))),
        ]);
        Self {
            manifest,
            text: Some(text),
            payload,
            wrapper: |_| (),
            envelope: |_| (),
        }
    }

    /// A COSE_Sign1 block by the signer of the tests.
    pub fn block(digest: &[u8; 32]) -> Item {
        let signature = super::sign(SigStructure::new(Algorithm::Ed25519, digest).as_bytes());
        Tag(
            18,
            Box::new(Array(vec![
                wrapped(Map(vec![(Int(1), Int(-19))])),
                Map(vec![(Int(4), Bytes(super::SIGNER_KID.into()))]),
                Null,
                Bytes(signature.into()),
            ])),
        )
    }

    /// The file, signed after all changes to the manifest.
    pub fn build(&self) -> Vec<u8> {
        let manifest = wrapped(self.manifest.clone());
        let mut digest = Sha256::new();
        digest.update(&manifest.encode());
        let digest = digest.finish();
        let mut wrapper = Array(vec![wrapped(suit_digest(digest)), wrapped(Self::block(&digest))]);
        (self.wrapper)(&mut wrapper);
        let mut pairs = vec![(Int(2), wrapped(wrapper)), (Int(3), manifest)];
        pairs.extend(self.text.clone().map(|text| (Int(23), wrapped(text))));
        pairs.push((Text("#fw"), Bytes(self.payload.clone())));
        let mut envelope = Tag(107, Box::new(Map(pairs)));
        (self.envelope)(&mut envelope);
        envelope.encode()
    }
}
