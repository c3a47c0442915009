//! When somebody or something is taken.

/// Stretches of Unix seconds in order, none touching another.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BusyTimes(Vec<(i64, i64)>);

/// Why stretches are refused: one ends before it starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a time that is taken ends before it starts ({start} to {end})")]
pub struct BusyRefused {
    /// Unix seconds.
    pub start: i64,
    /// Unix seconds.
    pub end: i64,
}

impl BusyTimes {
    /// Takes start and end in Unix seconds, in any order (fastest in order of start), overlapping or not.
    ///
    /// # Errors
    /// [`BusyRefused`]
    pub fn parse(spans: impl IntoIterator<Item = (i64, i64)>) -> Result<Self, BusyRefused> {
        let mut sorted: Vec<_> = spans.into_iter().collect();
        if let Some((start, end)) = sorted.iter().find(|(start, end)| end < start) {
            return Err(BusyRefused { start: *start, end: *end });
        }
        sorted.sort();
        sorted.dedup_by(|next, kept| {
            let joins = next.0 <= kept.1;
            if joins {
                kept.1 = kept.1.max(next.1);
            }
            joins
        });
        sorted.retain(|(start, end)| start < end);
        Ok(Self(sorted))
    }

    /// The stretches.
    pub fn spans(&self) -> &[(i64, i64)] {
        &self.0
    }

    /// What is left of `from` up to `to`, in order; nothing when `to` is not after `from`.
    pub fn gaps(&self, from: i64, to: i64) -> impl Iterator<Item = (i64, i64)> + '_ {
        let next = self.0.partition_point(|(_, end)| *end <= from);
        let within = self.0.get(next..).unwrap_or_default().iter().copied().take_while(move |(start, _)| *start < to);
        let starts = std::iter::once(from).chain(within.clone().map(|(_, end)| end));
        let ends = within.map(|(start, _)| start).chain(std::iter::once(to));
        starts.zip(ends).filter(|(start, end)| start < end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn stretches_are_put_in_order_and_joined() {
        let busy = BusyTimes::parse([(50, 60), (10, 20), (15, 30), (30, 40), (12, 13), (70, 70)]).unwrap();
        assert_eq!(busy.spans(), [(10, 40), (50, 60)]);
        assert_eq!(BusyTimes::parse([(1, 2), (5, 4)]), Err(BusyRefused { start: 5, end: 4 }));
    }

    #[test]
    fn gaps_are_what_is_left() {
        let busy = BusyTimes::parse([(10, 20), (30, 40)]).unwrap();
        let gaps = |from, to| busy.gaps(from, to).collect::<Vec<_>>();
        assert_eq!(gaps(0, 50), [(0, 10), (20, 30), (40, 50)]);
        assert_eq!(gaps(10, 40), [(20, 30)]);
        assert_eq!(gaps(12, 18), []);
        assert_eq!(gaps(15, 35), [(20, 30)]);
        assert_eq!(gaps(41, 45), [(41, 45)]);
        assert_eq!(gaps(25, 25), []);
        assert_eq!(gaps(29, 21), []);
    }

    proptest! {
        #[test]
        fn each_second_is_either_taken_or_left(
            spans in prop::collection::vec((0i64..60, 0i64..9), 0..12), from in 0i64..60, to in 0i64..60,
        ) {
            let spans: Vec<_> = spans.into_iter().map(|(start, length)| (start, start + length)).collect();
            let busy = BusyTimes::parse(spans.clone()).unwrap();
            let gaps: Vec<_> = busy.gaps(from, to).collect();
            for second in 0..70 {
                let taken = spans.iter().any(|(start, end)| (*start..*end).contains(&second));
                let left = gaps.iter().any(|(start, end)| (*start..*end).contains(&second));
                prop_assert_eq!(left, !taken && (from..to).contains(&second), "second {}", second);
            }
        }
    }
}
