-- When and what was done in a job, as lexemes that nobody can type (all begin with “=”):
-- =2023  =2023/strip  =2023-05  =2023-05/strip  =-05  =-05/strip  =/strip  =2021~spring  =2021~spring/strip
-- Winter (in the south summer) runs over New Year: January and February count for both years.
CREATE FUNCTION job_lexemes(from_day date, to_day date, kind text, is_south boolean) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN (
    SELECT string_agg('=' || part || ':1A =' || part || '/' || kind || ':1A', ' ') || ' =/' || kind || ':1A'
    FROM generate_series(date_trunc('month', from_day::timestamp), to_day::timestamp, interval '1 month') AS month,
        LATERAL (
            SELECT (ARRAY['winter', 'spring', 'summer', 'autumn'])[
                (extract(month FROM month)::int / 3 + CASE WHEN is_south THEN 2 ELSE 0 END) % 4 + 1
            ] AS season
        ) AS named,
        unnest(ARRAY[
            to_char(month, 'YYYY'), to_char(month, 'YYYY-MM'), to_char(month, '-MM'),
            to_char(month, 'YYYY') || '~' || season,
            CASE WHEN extract(month FROM month) < 3 THEN extract(year FROM month) - 1 || '~' || season END
        ]) AS part
    WHERE part IS NOT NULL
);

-- A value as one lexeme that nobody can type: =town/mahone_bay
CREATE FUNCTION value_lexeme(name text, value text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN '=' || name || '/' || trim('_' FROM regexp_replace(fold(value), '[^[:alnum:]]+', '_', 'g')) || ':1';

-- Weights: A who and where, B town, timber, batch and colour, C product and maker, D notes.
-- A product and its finish class stand alone (=p12, =f_tinted) and with each year (=2023/p12, =2023/f_tinted).
CREATE OR REPLACE FUNCTION search_documents(client_ids bigint[]) RETURNS TABLE (client_id bigint, deck_id bigint, document tsvector)
LANGUAGE sql STABLE AS $$
    WITH wanted AS (
        SELECT c.id, c.archived_at IS NOT NULL AS is_archived,
            weighted_words(c.name || ' ' || c.salutation, 'A') || ' '
            || weighted_words(c.postal_street || ' ' || c.postal_town, 'B') || ' ' || weighted_words(c.notes, 'D') AS words
        FROM clients_client c WHERE client_ids IS NULL OR c.id = ANY (client_ids)
    ), reached AS (
        SELECT p.client_id, string_agg(CASE p.kind
            WHEN 'email' THEN weighted_words(p.normalized, 'A') ELSE number_endings(p.normalized) END, ' ') AS words
        FROM clients_contactpoint p JOIN wanted ON wanted.id = p.client_id GROUP BY p.client_id
    ), stands AS (
        SELECT d.id, p.client_id, d.archived_at IS NOT NULL AS is_archived, p.latitude < 0 AS is_south,
            weighted_words(p.street || ' ' || d.label, 'A') || ' '
            || weighted_words(p.town || ' ' || p.region || ' ' || d.species, 'B') || ' ' || code_words(p.postcode, 'B')
            || ' ' || weighted_words(d.notes || ' ' || p.access_notes, 'D')
            || ' ' || value_lexeme('town', p.town) || ' ' || value_lexeme('species', d.species) AS words
        FROM clients_deck d JOIN clients_property p ON p.id = d.property_id JOIN wanted ON wanted.id = p.client_id
    ), finished AS (
        SELECT j.id, j.deck_id, j.kind, stands.is_south, j.crew, j.notes, {from_day} AS from_day, j.finished_on AS to_day
        FROM jobs_job j JOIN stands ON stands.id = j.deck_id
    ), worked AS (
        SELECT f.deck_id, string_agg(weighted_words(f.crew || ' ' || f.notes, 'D') || ' '
            || job_lexemes(f.from_day, f.to_day, f.kind, f.is_south), ' ') AS words
        FROM finished f GROUP BY f.deck_id
    ), looked AS (
        SELECT v.deck_id, string_agg(weighted_words(v.found_by || ' ' || v.notes, 'D'), ' ') AS words
        FROM jobs_visit v JOIN stands ON stands.id = v.deck_id GROUP BY v.deck_id
    ), coated AS (
        SELECT f.deck_id, string_agg(concat_ws(' ', weighted_words(p.name || ' ' || p.maker, 'C'),
            weighted_words(a.colour, 'B'), code_words(b.code, 'B'), made.lexemes), ' ') AS words
        FROM jobs_coatapplied a JOIN finished f ON f.id = a.job_id
        LEFT JOIN jobs_product p ON p.id = a.product_id LEFT JOIN jobs_batch b ON b.id = a.batch_id,
        LATERAL (
            SELECT string_agg(concat_ws(' ', '=' || part || ':1', '=' || year || '/' || part || ':1A'), ' ') AS lexemes
            FROM unnest(ARRAY['p' || p.id, 'f_' || nullif(p.finish_class, '')]) AS part,
                generate_series(extract(year FROM f.from_day)::int, extract(year FROM f.to_day)::int) AS year
            WHERE part IS NOT NULL
        ) AS made GROUP BY f.deck_id
    )
    SELECT wanted.id, stands.id, concat_ws(' ', wanted.words, reached.words, stands.words, worked.words, looked.words,
        coated.words, CASE WHEN wanted.is_archived OR stands.is_archived THEN '=archived:1' END)::tsvector
    FROM wanted
    LEFT JOIN reached ON reached.client_id = wanted.id
    LEFT JOIN stands ON stands.client_id = wanted.id
    LEFT JOIN worked ON worked.deck_id = stands.id
    LEFT JOIN looked ON looked.deck_id = stands.id
    LEFT JOIN coated ON coated.deck_id = stands.id
$$;

-- What was loaded in the same transaction has no statistics yet; planned without them, the joins above are quadratic.
CREATE FUNCTION search_analyze() RETURNS void LANGUAGE plpgsql AS $$
DECLARE read_table text;
BEGIN
    FOREACH read_table IN ARRAY ARRAY['clients_client', 'clients_contactpoint', 'clients_property', 'clients_deck',
        'jobs_job', 'jobs_visit', 'jobs_coatapplied', 'jobs_product', 'jobs_batch', 'jobs_searchentry']
    LOOP
        EXECUTE 'ANALYZE ' || read_table;
    END LOOP;
END $$;

-- Writes the entries of some clients again (NULL = of all). The lock makes two writers of one client take turns, so that
-- the second sees what the first wrote. After all, new entries lie in the index where they belong, not on its pile.
CREATE OR REPLACE FUNCTION search_refresh(client_ids bigint[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    IF client_ids IS NULL THEN
        PERFORM search_analyze();
    END IF;
    PERFORM 1 FROM clients_client WHERE id = ANY (client_ids) ORDER BY id FOR NO KEY UPDATE;
    DELETE FROM jobs_searchentry WHERE client_ids IS NULL OR client_id = ANY (client_ids) OR deck_id IN (
        SELECT d.id FROM clients_deck d JOIN clients_property p ON p.id = d.property_id
        WHERE p.client_id = ANY (client_ids)
    );
    INSERT INTO jobs_searchentry (client_id, deck_id, document)
        SELECT client_id, deck_id, document FROM search_documents(client_ids)
        ON CONFLICT (client_id, deck_id) DO UPDATE SET document = excluded.document;
    INSERT INTO jobs_searchword (word)
        SELECT DISTINCT word FROM jobs_searchentry e, unnest(tsvector_to_array(e.document)) AS word
        WHERE (client_ids IS NULL OR e.client_id = ANY (client_ids)) AND word !~ '^(=|[0-9]+$)'
        ORDER BY word
        ON CONFLICT DO NOTHING;
    IF client_ids IS NULL THEN
        PERFORM gin_clean_pending_list('search_entry_by_word'::regclass);
    END IF;
END $$;
