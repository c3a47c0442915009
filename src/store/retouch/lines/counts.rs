//! How many lines fit.

use super::{Filter, STATES, bounds};
use crate::domain::window::WindowState;
use crate::store::{Connection, Stored};

/// How many lines there are in each state, in the order of the list.
pub type Counts = [(WindowState, i64); 4];

/// How many lines of one state fit, whatever the name.
macro_rules! count {
    ($c:expr, $filter:expr, $where:literal) => {{
        let (free, since) = bounds($filter.free);
        let today = i64::from($filter.today.to_julian_day());
        sqlx::query_scalar!(
            "SELECT count(*) AS 'count!: i64' FROM retouch_line WHERE " + $where +
            " AND (?2 IS NULL OR client_id NOT IN (
                  SELECT client_id FROM visit
                  WHERE starts_at > ?3 AND ends_at > ?2 AND purpose = 'treatment' AND state IN ('booked', 'arrived', 'in_treatment')))",
            today, free, since
        )
        .fetch_one($c)
        .await
    }};
}

/// How many lines fit, by state, in the order of the list.
///
/// # Errors
/// When the file can't be read.
pub async fn counts(c: &mut Connection, filter: Filter<'_>) -> Stored<Counts> {
    // One state is a part of an index, as long as names aren't looked at.
    if let (Some(state), "") = (filter.state, filter.name) {
        let count = match state {
            WindowState::Due => count!(&mut *c, filter, "due <= ?1 AND lapsed > ?1"),
            WindowState::Open => count!(&mut *c, filter, "opens <= ?1 AND due > ?1"),
            WindowState::NotYet => count!(&mut *c, filter, "opens > ?1"),
            WindowState::Lapsed => count!(&mut *c, filter, "lapsed <= ?1"),
        }?;
        return Ok(STATES.map(|one| (one, if one == state { count } else { 0 })));
    }
    let today = i64::from(filter.today.to_julian_day());
    // Without a filter the edges alone are read, from an index.
    let (all, not_yet, not_due, not_lapsed) = if filter.free.is_none() && filter.name.is_empty() {
        let row = sqlx::query!(
            r#"SELECT count(*) AS "all!: i64", count(*) FILTER (WHERE opens > ?1) AS "not_yet!: i64",
                      count(*) FILTER (WHERE due > ?1) AS "not_due!: i64", count(*) FILTER (WHERE lapsed > ?1) AS "not_lapsed!: i64"
               FROM retouch_line"#,
            today
        )
        .fetch_one(c)
        .await?;
        (row.all, row.not_yet, row.not_due, row.not_lapsed)
    } else {
        let (free, since) = bounds(filter.free);
        let row = sqlx::query!(
            r#"SELECT count(*) AS "all!: i64", count(*) FILTER (WHERE opens > ?1) AS "not_yet!: i64",
                      count(*) FILTER (WHERE due > ?1) AS "not_due!: i64", count(*) FILTER (WHERE lapsed > ?1) AS "not_lapsed!: i64"
               FROM retouch_line
               WHERE (?2 IS NULL OR client_id NOT IN (
                          SELECT client_id FROM visit WHERE starts_at > ?4 AND ends_at > ?2 AND purpose = 'treatment'
                              AND state IN ('booked', 'arrived', 'in_treatment')))
                 AND (?3 = '' OR instr(name_key, ?3) > 0)"#,
            today,
            free,
            filter.name,
            since
        )
        .fetch_one(c)
        .await?;
        (row.all, row.not_yet, row.not_due, row.not_lapsed)
    };
    let count = |state| match state {
        WindowState::NotYet => not_yet,
        WindowState::Open => not_due - not_yet,
        WindowState::Due => not_lapsed - not_due,
        WindowState::Lapsed => all - not_lapsed,
    };
    let wanted = |state| filter.state.is_none_or(|only| only == state);
    Ok(STATES.map(|state| (state, if wanted(state) { count(state) } else { 0 })))
}
