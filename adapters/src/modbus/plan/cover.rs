//! The cheapest requests that read some places of one table.
//!
//! A place that lies within another is read with it. Of what is left, both beginnings and ends
//! rise, so some cheapest solution gives each request a run of neighbours: giving two requests
//! the same places in order never makes either longer. The cheapest requests for the first n
//! places are then the cheapest for the first m and one more, for the best m.

/// What reading costs: first the price, then the number of requests.
type Cost = (u64, u32);

/// Requests, each an address and a length, that read each of `places` whole and in one piece.
///
/// A request costs `price` and 1 for each place it reads, and reads at most `most`. None reads a
/// place from `forbidden`, where each entry is a first and a last address; places there are left
/// out. A place longer than `most` gets a request of its own.
pub(super) fn cover(
    places: Vec<(u16, u16)>,
    price: u32,
    most: u16,
    forbidden: &[(u16, u16)],
) -> Vec<(u16, u16)> {
    let allowed = |from: u32, to: u32| {
        !forbidden.iter().any(|(first, last)| u32::from(*first) < to && from <= u32::from(*last))
    };
    let span = |(at, count)| (u32::from(at), u32::from(at) + u32::from(count));
    let spans = places.into_iter().map(span).filter(|(from, to)| allowed(*from, *to));
    let spans = outermost(spans.collect());
    let mut best: Vec<(Cost, usize)> = vec![((0, 0), 0)];
    for (last, (_, to)) in spans.iter().enumerate() {
        let mut cheapest: Option<(Cost, usize)> = None;
        for (first, (from, _)) in spans.iter().enumerate().take(last + 1).rev() {
            if first < last && (to - from > u32::from(most) || !allowed(*from, *to)) {
                break;
            }
            let Some(((before, requests), _)) = best.get(first) else { break };
            let cost = (before + u64::from(price) + u64::from(to - from), requests + 1);
            if cheapest.is_none_or(|(known, _)| cost < known) {
                cheapest = Some((cost, first));
            }
        }
        best.extend(cheapest);
    }
    requests(&spans, &best)
}

/// Spans from a first to behind a last address, without those within others, in order.
fn outermost(mut spans: Vec<(u32, u32)>) -> Vec<(u32, u32)> {
    spans.sort_unstable_by_key(|(from, to)| (*from, std::cmp::Reverse(*to)));
    let mut reached = 0;
    spans.retain(|(_, to)| {
        let beyond = *to > reached;
        reached = reached.max(*to);
        beyond
    });
    spans
}

/// The requests behind the cheapest cost, in order.
fn requests(spans: &[(u32, u32)], best: &[(Cost, usize)]) -> Vec<(u16, u16)> {
    let mut requests = Vec::new();
    let mut end = spans.len();
    while let Some((last, first)) = end.checked_sub(1).zip(best.get(end).map(|(_, first)| *first)) {
        if let (Some((from, _)), Some((_, to))) = (spans.get(first), spans.get(last)) {
            // Both came from 16 bits; a place that ends behind the last address is no place.
            requests.push((*from as u16, (to - from) as u16));
        }
        end = first;
    }
    requests.reverse();
    requests
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn plain(places: &[(u16, u16)]) -> Vec<(u16, u16)> {
        cover(places.to_vec(), 0, 125, &[])
    }

    #[test]
    fn without_a_gap_only_places_that_touch_or_overlap_are_read_together() {
        assert_eq!(plain(&[(4, 2), (0, 2), (2, 2)]), [(0, 6)]);
        assert_eq!(plain(&[(0, 4), (1, 1)]), [(0, 4)]);
        assert_eq!(plain(&[(0, 2), (3, 1)]), [(0, 2), (3, 1)]);
        assert_eq!(plain(&[(0, 100), (100, 25)]), [(0, 125)]);
        assert_eq!(plain(&[(0, 100), (100, 26)]), [(0, 100), (100, 26)]);
        assert_eq!(plain(&[(65_535, 1)]), [(65_535, 1)]);
        assert_eq!(plain(&[]), []);
    }

    #[test]
    fn a_gap_is_read_up_to_its_price_and_never_a_forbidden_place() {
        let places = || vec![(0, 2), (7, 1), (20, 2)];
        assert_eq!(cover(places(), 5, 125, &[]), [(0, 8), (20, 2)]);
        assert_eq!(cover(places(), 4, 125, &[]), [(0, 2), (7, 1), (20, 2)]);
        assert_eq!(cover(places(), 12, 125, &[]), [(0, 22)]);
        assert_eq!(cover(places(), 12, 125, &[(6, 6)]), [(0, 2), (7, 15)]);
        assert_eq!(cover(places(), 12, 125, &[(7, 7)]), [(0, 2), (20, 2)]);
        assert_eq!(cover(places(), 12, 15, &[]), [(0, 8), (20, 2)]);
    }

    /// Taking places greedily from the left reads 100 + 2 + 30 here; the cheapest splits earlier.
    #[test]
    fn the_first_request_is_not_always_as_long_as_it_can_be() {
        let places = vec![(0, 90), (100, 20), (122, 10)];
        assert_eq!(cover(places, 40, 125, &[]), [(0, 90), (100, 32)]);
    }

    /// The least cost of all ways to share out the places among requests.
    fn brute(
        places: &[(u16, u16)],
        price: u32,
        most: u16,
        forbidden: &[(u16, u16)],
        shares: &mut Vec<(u16, u16)>,
    ) -> Option<Cost> {
        let Some(((at, count), rest)) = places.split_first() else {
            let length = |(from, to): &(u16, u16)| u64::from(to - from);
            let cost = shares.iter().map(length).sum::<u64>();
            let requests = shares.len() as u32;
            return Some((cost + u64::from(price) * u64::from(requests), requests));
        };
        let (from, to) = (*at, at + count);
        let free = |(from, to): (u16, u16)| {
            let hit = |(first, last): &(u16, u16)| *first < to && from <= *last;
            to - from <= most && !forbidden.iter().any(hit)
        };
        let mut best = None::<Cost>;
        for index in 0..=shares.len() {
            let before = shares.get(index).copied();
            let joined = before.map_or((from, to), |(a, b)| (a.min(from), b.max(to)));
            if !free(joined) {
                continue;
            }
            match before {
                Some(_) => shares[index] = joined,
                None => shares.push(joined),
            }
            let cost = brute(rest, price, most, forbidden, shares);
            best = [best, cost].into_iter().flatten().min();
            match before {
                Some(before) => shares[index] = before,
                None => {
                    shares.pop();
                }
            }
        }
        best
    }

    fn cost(requests: &[(u16, u16)], price: u32) -> Cost {
        let lengths: u64 = requests.iter().map(|(_, count)| u64::from(*count)).sum();
        (lengths + u64::from(price) * requests.len() as u64, requests.len() as u32)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2_000))]

        #[test]
        fn nothing_is_cheaper(
            places in prop::collection::vec((0u16..40, 1u16..5), 0..8), price in 0u32..12,
            most in 4u16..25, forbidden in prop::collection::vec((0u16..45, 0u16..3), 0..3),
        ) {
            let forbidden: Vec<(u16, u16)> =
                forbidden.into_iter().map(|(first, more)| (first, first + more)).collect();
            let requests = cover(places.clone(), price, most, &forbidden);
            let hit = |(at, count): &(u16, u16)| {
                forbidden.iter().any(|(first, last)| *first < at + count && at <= last)
            };
            prop_assert!(requests.iter().all(|request| request.1 <= most && !hit(request)));
            let wanted: Vec<(u16, u16)> = places.into_iter().filter(|place| !hit(place)).collect();
            for (at, count) in &wanted {
                let whole = |(first, many): &(u16, u16)| first <= at && at + count <= first + many;
                prop_assert!(requests.iter().any(whole), "{at} {count} in {requests:?}");
            }
            let least = brute(&wanted, price, most, &forbidden, &mut Vec::new());
            prop_assert_eq!(Some(cost(&requests, price)), least, "{:?}", requests);
        }

        #[test]
        fn with_no_gap_nothing_is_read_that_nobody_named(
            places in prop::collection::vec((0u16..600, 1u16..9), 0..80), most in 9u16..126,
        ) {
            let requests = cover(places.clone(), 0, most, &[]);
            let named = |at: &u16| places.iter().any(|(first, many)| (*first..first + many).contains(at));
            for (at, count) in requests {
                prop_assert!(count <= most);
                prop_assert!((at..at + count).all(|at| named(&at)));
            }
        }
    }
}
