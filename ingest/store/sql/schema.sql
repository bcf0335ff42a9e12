-- The schema as it stands now, for a new file. Times are milliseconds since
-- 1970, UTC. The names of quantities are numbers of ingest/unit.

create table vessel (
	id       integer primary key,
	name     text    not null unique,
	first    integer not null,
	last     integer not null,
	readings integer not null
) strict;

-- Readings whose hour is not packed yet, and late ones.
create table tail (
	ts    integer not null,
	v     integer not null references vessel (id),
	q     integer not null,
	value real    not null,
	primary key (ts, v, q)
) strict, without rowid;

-- One hour of one quantity of one vessel: id = v * 2^40 + q * 2^32 + hour since
-- 1970. A rowid table, because blobs over a quarter page would spill in a
-- table without rowid.
create table pack (
	id   integer primary key,
	data blob    not null
) strict;

-- Hours in which at least one pack exists.
create table packed_hour (
	hour integer primary key
) strict;

-- The newest reading of each vessel and quantity.
create table newest (
	v     integer not null references vessel (id),
	q     integer not null,
	ts    integer not null,
	value real    not null,
	primary key (v, q)
) strict, without rowid;

create table entry (
	n       integer primary key autoincrement, -- order of arrival
	id      text    not null unique,
	vessel  text    not null,
	at      integer not null,
	written integer not null,
	data    blob    not null
) strict;
create index entry_at on entry (at, written, n);
create index entry_written on entry (written, n);

create table refused (
	n       integer primary key autoincrement,
	reason  text    not null,
	detail  text    not null,
	line    integer not null,
	col     integer not null,
	topic   blob    not null,
	input   blob    not null,
	size    integer not null,
	arrived integer not null
) strict;

create table refused_count (
	reason text    primary key,
	n      integer not null
) strict, without rowid;

-- Batches in order of arrival that the watch has not digested yet. The
-- sequence goes on after the inbox was emptied.
create table inbox (
	seq     integer primary key autoincrement,
	arrived integer not null,
	data    blob    not null
) strict;

-- One row that is rewritten to find out whether the database can be written.
create table pulse (
	id    integer primary key check (id = 1),
	beats integer not null
) strict;
insert into pulse (id, beats) values (1, 0);
