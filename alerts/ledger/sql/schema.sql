-- Alarms, calls and the place of the watch in the inbox, as they stand now,
-- for a new file. Times are milliseconds since 1970, UTC, and 0 is no time.
-- The whole of an alarm or call is JSON, and what is asked for by is a column
-- beside it.

create table ledger (
	id      integer primary key check (id = 1),
	version integer not null
) strict;

create table alarm (
	id     text    primary key,
	vessel text    not null,
	raised integer not null,
	open   integer not null, -- 1 unless the state is normal
	data   text    not null
) strict;
create index alarm_raised on alarm (raised);
create index alarm_open on alarm (open) where open = 1;

create table call (
	id      text    primary key,
	queued  integer not null,
	urgency integer not null, -- 0 high, 1 medium, 2 low
	state   text    not null,
	next    integer not null,
	data    text    not null
) strict;
create index call_queued on call (queued);
create index call_due on call (next) where state = 'queued';

-- Every attempt at a call, for the record.
create table attempt (
	n       integer primary key, -- order of writing
	call    text    not null references call (id),
	at      integer not null,
	phone   text    not null,
	outcome text    not null,
	next    integer not null,
	detail  text    not null
) strict;
create index attempt_call on attempt (call);

-- Where the watch stands.
create table place (
	id        integer primary key check (id = 1),
	cursor    integer not null, -- newest batch of the inbox whose outcome is here
	room_time integer not null,
	version   integer not null, -- of the snapshot
	snapshot  blob    not null
) strict;
