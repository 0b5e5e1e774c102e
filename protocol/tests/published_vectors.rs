//! Published vectors: the hash and the signature libraries, as used here, against their standards.
//! Owns: values copied from the named sources.   Gives: nothing.
//! May use: blake3, ed25519-zebra.   Never: code of ours; that it uses them rightly is tested beside it.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use ed25519_zebra::{Signature, SigningKey, VerificationKey, VerificationKeyBytes, batch};
use rand_core::{TryCryptoRng, TryRng};

fn unhex(text: &str) -> Vec<u8> {
    text.as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(core::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// RFC 8032, section 7.1: secret key, public key, message, signature.
const RFC_8032: [[&str; 4]; 4] = [
    // TEST 1
    [
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ],
    // TEST 2
    [
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ],
    // TEST 3
    [
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ],
    // TEST SHA(abc)
    [
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ],
];

/// Coefficients for a batch in a test.
struct Counting(u8);

impl TryRng for Counting {
    type Error = core::convert::Infallible;
    fn try_next_u32(&mut self) -> Result<u32, Self::Error> {
        Ok(7)
    }
    fn try_next_u64(&mut self) -> Result<u64, Self::Error> {
        Ok(7)
    }
    fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Self::Error> {
        for byte in bytes {
            self.0 = self.0.wrapping_mul(13).wrapping_add(101);
            *byte = self.0;
        }
        Ok(())
    }
}
impl TryCryptoRng for Counting {}

#[test]
fn signatures_are_those_of_rfc_8032_one_by_one_and_in_a_batch() {
    let mut all = batch::Verifier::new();
    for [secret, public, message, signature] in RFC_8032 {
        let key = SigningKey::from(<[u8; 32]>::try_from(unhex(secret)).unwrap());
        let message = unhex(message);
        assert_eq!(
            hex(&<[u8; 32]>::from(VerificationKeyBytes::from(&key))),
            public
        );
        assert_eq!(hex(&key.sign(&message).to_bytes()), signature);
        let signature = Signature::from(<[u8; 64]>::try_from(unhex(signature)).unwrap());
        let public = VerificationKeyBytes::from(&key);
        let parsed = VerificationKey::try_from(public).unwrap();
        assert!(parsed.verify(&signature, &message).is_ok());
        assert!(parsed.verify(&signature, b"another message").is_err());
        all.queue((public, signature, &message));
    }
    assert!(all.verify(Counting(1)).is_ok());
}

/// The BLAKE3 team's `test_vectors/test_vectors.json`: input length, hash, keyed hash, derived key, each to
/// 32 bytes. The input counts 0, 1, 2… to 250 and starts again.
const BLAKE3: [(usize, &str, &str, &str); 5] = [
    (
        0,
        "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262",
        "92b2b75604ed3c761f9d6f62392c8a9227ad0ea3f09573e783f1498a4ed60d26",
        "2cc39783c223154fea8dfb7c1b1660f2ac2dcbd1c1de8277b0b0dd39b7e50d7d",
    ),
    (
        1,
        "2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213",
        "6d7878dfff2f485635d39013278ae14f1454b8c0a3a2d34bc1ab38228a80c95b",
        "b3e2e340a117a499c6cf2398a19ee0d29cca2bb7404c73063382693bf66cb06c",
    ),
    (
        1_023,
        "10108970eeda3eb932baac1428c7a2163b0e924c9a9e25b35bba72b28f70bd11",
        "c951ecdf03288d0fcc96ee3413563d8a6d3589547f2c2fb36d9786470f1b9d6e",
        "74a16c1c3d44368a86e1ca6df64be6a2f64cce8f09220787450722d85725dea5",
    ),
    (
        1_024,
        "42214739f095a406f3fc83deb889744ac00df831c10daa55189b5d121c855af7",
        "75c46f6f3d9eb4f55ecaaee480db732e6c2105546f1e675003687c31719c7ba4",
        "7356cd7720d5b66b6d0697eb3177d9f8d73a4a5c5e968896eb6a689684302706",
    ),
    (
        1_025,
        "d00278ae47eb27b34faecf67b4fe263f82d5412916c1ffd97c8cb7fb814b8444",
        "357dc55de0c7e382c900fd6e320acc04146be01db6a8ce7210b7189bd664ea69",
        "effaa245f065fbf82ac186839a249707c3bddf6d3fdda22d1b95a3c970379bcb",
    ),
];

#[test]
fn hashes_are_those_of_the_official_vectors_in_every_mode() {
    let key = b"whats the Elvish word for friend";
    let context = "BLAKE3 2019-12-27 16:29:52 test vectors context";
    for (len, hash, keyed, derived) in BLAKE3 {
        let input: Vec<u8> = (0..=250).cycle().take(len).collect();
        assert_eq!(blake3::hash(&input).to_hex().as_str(), hash, "{len}");
        assert_eq!(
            blake3::keyed_hash(key, &input).to_hex().as_str(),
            keyed,
            "{len}"
        );
        assert_eq!(hex(&blake3::derive_key(context, &input)), derived, "{len}");
    }
}
