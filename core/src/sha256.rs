//! SHA-256 (FIPS 180-4, sections 4 to 6), written to be small.

/// The first 32 bits behind the point of the cube roots of the first 64 primes (section 4.2.2).
const ROUNDS: [u32; 64] = [
    0x428a_2f98,
    0x7137_4491,
    0xb5c0_fbcf,
    0xe9b5_dba5,
    0x3956_c25b,
    0x59f1_11f1,
    0x923f_82a4,
    0xab1c_5ed5,
    0xd807_aa98,
    0x1283_5b01,
    0x2431_85be,
    0x550c_7dc3,
    0x72be_5d74,
    0x80de_b1fe,
    0x9bdc_06a7,
    0xc19b_f174,
    0xe49b_69c1,
    0xefbe_4786,
    0x0fc1_9dc6,
    0x240c_a1cc,
    0x2de9_2c6f,
    0x4a74_84aa,
    0x5cb0_a9dc,
    0x76f9_88da,
    0x983e_5152,
    0xa831_c66d,
    0xb003_27c8,
    0xbf59_7fc7,
    0xc6e0_0bf3,
    0xd5a7_9147,
    0x06ca_6351,
    0x1429_2967,
    0x27b7_0a85,
    0x2e1b_2138,
    0x4d2c_6dfc,
    0x5338_0d13,
    0x650a_7354,
    0x766a_0abb,
    0x81c2_c92e,
    0x9272_2c85,
    0xa2bf_e8a1,
    0xa81a_664b,
    0xc24b_8b70,
    0xc76c_51a3,
    0xd192_e819,
    0xd699_0624,
    0xf40e_3585,
    0x106a_a070,
    0x19a4_c116,
    0x1e37_6c08,
    0x2748_774c,
    0x34b0_bcb5,
    0x391c_0cb3,
    0x4ed8_aa4a,
    0x5b9c_ca4f,
    0x682e_6ff3,
    0x748f_82ee,
    0x78a5_636f,
    0x84c8_7814,
    0x8cc7_0208,
    0x90be_fffa,
    0xa450_6ceb,
    0xbef9_a3f7,
    0xc671_78f2,
];

/// A sum of bytes that are still coming.
#[derive(Debug, Clone)]
pub(crate) struct Sha256 {
    state: [u32; 8],
    /// What does not fill a block yet.
    block: [u8; 64],
    length: u64,
}

impl Sha256 {
    pub(crate) fn new() -> Sha256 {
        // Of the square roots of the first eight primes (section 5.3.3).
        let state =
            [0x6a09_e667, 0xbb67_ae85, 0x3c6e_f372, 0xa54f_f53a, 0x510e_527f, 0x9b05_688c, 0x1f83_d9ab, 0x5be0_cd19];
        Sha256 { state, block: [0; 64], length: 0 }
    }

    pub(crate) fn update(&mut self, bytes: &[u8]) {
        for byte in bytes {
            let at = self.held();
            self.block[at] = *byte;
            self.length = self.length.wrapping_add(1);
            if at == 63 {
                self.turn();
            }
        }
    }

    /// How many bytes the block holds.
    fn held(&self) -> usize {
        (self.length % 64) as usize
    }

    pub(crate) fn finish(mut self) -> [u8; 32] {
        let bits = self.length.wrapping_mul(8).to_be_bytes();
        self.update(&[0x80]);
        while self.held() != 56 {
            self.update(&[0]);
        }
        self.update(&bits);
        let mut out = [0; 32];
        for (four, word) in out.as_chunks_mut::<4>().0.iter_mut().zip(self.state) {
            *four = word.to_be_bytes();
        }
        out
    }

    /// One full block (section 6.2.2).
    fn turn(&mut self) {
        let mut w = [0_u32; 64];
        for (word, four) in w.iter_mut().zip(self.block.as_chunks::<4>().0) {
            *word = u32::from_be_bytes(*four);
        }
        for t in 16..64 {
            let (a, b) = (w[t - 15], w[t - 2]);
            let small = a.rotate_right(7) ^ a.rotate_right(18) ^ (a >> 3);
            let large = b.rotate_right(17) ^ b.rotate_right(19) ^ (b >> 10);
            w[t] = w[t - 16].wrapping_add(small).wrapping_add(w[t - 7]).wrapping_add(large);
        }
        let [mut a, mut b, mut c, mut d, mut e, mut f, mut g, mut h] = self.state;
        for (k, w) in ROUNDS.iter().zip(w) {
            let choice = (e & f) ^ (!e & g);
            let sum = e.rotate_right(6) ^ e.rotate_right(11) ^ e.rotate_right(25);
            let first = h.wrapping_add(sum).wrapping_add(choice).wrapping_add(*k).wrapping_add(w);
            let majority = (a & b) ^ (a & c) ^ (b & c);
            let sum = a.rotate_right(2) ^ a.rotate_right(13) ^ a.rotate_right(22);
            (h, g, f, e) = (g, f, e, d.wrapping_add(first));
            (d, c, b, a) = (c, b, a, first.wrapping_add(sum).wrapping_add(majority));
        }
        for (state, more) in self.state.iter_mut().zip([a, b, c, d, e, f, g, h]) {
            *state = state.wrapping_add(more);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use sha2::Digest as _;

    fn hex(bytes: &[u8]) -> String {
        let mut sum = Sha256::new();
        sum.update(bytes);
        sum.finish().iter().map(|b| format!("{b:02x}")).collect()
    }

    /// The examples of FIPS 180-2, appendix B.
    #[test]
    fn the_standards_examples() {
        assert_eq!(hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(
            hex(b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
        );
        assert_eq!(hex(&[b'a'; 1_000_000]), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    }

    proptest! {
        #[test]
        fn as_the_library(bytes in prop::collection::vec(any::<u8>(), 0..300), cut in 0..300_usize) {
            let (first, second) = bytes.split_at(cut.min(bytes.len()));
            let mut sum = Sha256::new();
            sum.update(first);
            sum.update(second);
            prop_assert_eq!(&sum.finish()[..], &sha2::Sha256::digest(&bytes)[..]);
        }
    }
}
