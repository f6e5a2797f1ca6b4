-- Words of a text as tsvector input with one weight: 'tern':1A 'wharf':1A …
CREATE FUNCTION weighted_words(words text, weight text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN (
    SELECT coalesce(string_agg(word || ':1' || weight, ' '), '')
    FROM regexp_split_to_table(fold(coalesce(words, '')), '[^[:alnum:]]+') AS word
    WHERE word <> '' AND length(word) <= 60
);

-- Every ending of a telephone number from four digits up, so that the last digits find it.
CREATE FUNCTION number_endings(number text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN (
    SELECT coalesce(string_agg(right(digits, size) || ':1A', ' '), '')
    FROM regexp_replace(split_part(coalesce(number, ''), ';', 1), '[^0-9]', '', 'g') AS digits,
         generate_series(4, length(digits)) AS size
);

-- A code as one word without its dashes and dots, beside its parts.
CREATE FUNCTION code_words(code text, weight text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN weighted_words(code, weight) || ' '
    || weighted_words(regexp_replace(coalesce(code, ''), '[^[:alnum:]]', '', 'g'), weight);

CREATE FUNCTION search_documents(client_ids bigint[]) RETURNS TABLE (client_id bigint, deck_id bigint, document tsvector)
LANGUAGE sql STABLE AS $$
    WITH wanted AS (
        SELECT c.id, weighted_words(c.name || ' ' || c.salutation, 'A') || ' '
            || weighted_words(c.postal_street || ' ' || c.postal_town, 'B') || ' ' || weighted_words(c.notes, 'D') AS words
        FROM clients_client c WHERE client_ids IS NULL OR c.id = ANY (client_ids)
    ), reached AS (
        SELECT p.client_id, string_agg(CASE p.kind
            WHEN 'email' THEN weighted_words(p.normalized, 'A') ELSE number_endings(p.normalized) END, ' ') AS words
        FROM clients_contactpoint p JOIN wanted ON wanted.id = p.client_id GROUP BY p.client_id
    ), stands AS (
        SELECT d.id, p.client_id, weighted_words(p.street || ' ' || d.label, 'A') || ' '
            || weighted_words(p.town || ' ' || p.region || ' ' || d.species, 'B') || ' ' || code_words(p.postcode, 'B')
            || ' ' || weighted_words(d.notes || ' ' || p.access_notes, 'D') AS words
        FROM clients_deck d JOIN clients_property p ON p.id = d.property_id JOIN wanted ON wanted.id = p.client_id
    ), worked AS (
        SELECT j.deck_id, string_agg(weighted_words(j.crew || ' ' || j.notes, 'D'), ' ') AS words
        FROM jobs_job j JOIN stands ON stands.id = j.deck_id GROUP BY j.deck_id
    ), looked AS (
        SELECT v.deck_id, string_agg(weighted_words(v.found_by || ' ' || v.notes, 'D'), ' ') AS words
        FROM jobs_visit v JOIN stands ON stands.id = v.deck_id GROUP BY v.deck_id
    ), coated AS (
        SELECT j.deck_id, string_agg(weighted_words(p.name || ' ' || p.maker, 'B') || ' ' || weighted_words(a.colour, 'B')
            || ' ' || code_words(b.code, 'B'), ' ') AS words
        FROM jobs_coatapplied a JOIN jobs_job j ON j.id = a.job_id JOIN stands ON stands.id = j.deck_id
        LEFT JOIN jobs_product p ON p.id = a.product_id LEFT JOIN jobs_batch b ON b.id = a.batch_id GROUP BY j.deck_id
    )
    SELECT wanted.id, stands.id, concat_ws(' ', wanted.words, reached.words, stands.words, worked.words, looked.words,
        coated.words)::tsvector
    FROM wanted
    LEFT JOIN reached ON reached.client_id = wanted.id
    LEFT JOIN stands ON stands.client_id = wanted.id
    LEFT JOIN worked ON worked.deck_id = stands.id
    LEFT JOIN looked ON looked.deck_id = stands.id
    LEFT JOIN coated ON coated.deck_id = stands.id
$$;

-- Writes the entries of some clients anew (NULL = of all). The lock makes two writers of one client take turns, so that
-- the second sees what the first wrote.
CREATE FUNCTION search_refresh(client_ids bigint[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
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
        WHERE (client_ids IS NULL OR e.client_id = ANY (client_ids)) AND word !~ '^[0-9]+$'
        ORDER BY word
        ON CONFLICT DO NOTHING;
END $$;

-- One trigger function for all tables: the argument is a query for the clients that `changed` rows belong to.
-- A bulk load sets restorer.search_later and calls search_refresh(NULL) once at its end.
CREATE FUNCTION search_changed() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE client_ids bigint[];
BEGIN
    IF current_setting('restorer.search_later', true) = 'on' THEN RETURN NULL; END IF;
    EXECUTE 'SELECT array_agg(DISTINCT client_id) FROM (' || TG_ARGV[0] || ') AS touched' INTO client_ids;
    IF client_ids IS NOT NULL THEN PERFORM search_refresh(client_ids); END IF;
    RETURN NULL;
END $$;
