//! Bits: small sets of numbered steps, compared word by word.
//! Owns: nothing.   Gives: `Steps`.
//! May use: nothing of this crate.   Never: what a step is (plans).

/// A set of steps by their number in `names`.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Default)]
pub(super) struct Steps(Vec<u64>);

impl Steps {
    pub(super) fn insert(&mut self, step: u16) {
        let word = usize::from(step) / 64;
        if self.0.len() <= word {
            self.0.resize(word + 1, 0);
        }
        self.0[word] |= 1 << (step % 64);
    }

    pub(super) fn remove(&mut self, step: u16) {
        if let Some(word) = self.0.get_mut(usize::from(step) / 64) {
            *word &= !(1 << (step % 64));
        }
    }

    pub(super) fn has(&self, step: u16) -> bool {
        self.0
            .get(usize::from(step) / 64)
            .is_some_and(|word| word & (1 << (step % 64)) != 0)
    }

    /// Adds all of `other`; says whether that changed anything.
    pub(super) fn add(&mut self, other: &Self) -> bool {
        if self.0.len() < other.0.len() {
            self.0.resize(other.0.len(), 0);
        }
        let mut changed = false;
        for (mine, theirs) in self.0.iter_mut().zip(&other.0) {
            changed |= *theirs & !*mine != 0;
            *mine |= theirs;
        }
        changed
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = u16> + '_ {
        self.0.iter().zip(0_u16..).flat_map(|(&word, at)| {
            (0..64_u16)
                .filter(move |bit| word & (1 << bit) != 0)
                .map(move |bit| at * 64 + bit)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_holds_what_was_put_in() {
        let mut set = Steps::default();
        for step in [3, 64, 200] {
            set.insert(step);
        }
        assert!(set.has(64) && !set.has(65) && !set.has(999));
        assert_eq!(set.iter().collect::<Vec<_>>(), [3, 64, 200]);
        let mut other = Steps::default();
        assert!(other.add(&set) && !other.add(&set));
        other.remove(3);
        assert!(!other.has(3) && set.has(3));
    }
}
