-- The same documents as before with a third of the function calls, which were most of the time: words of one weight are
-- put together before they are taken apart, and what is empty is not asked about.
CREATE OR REPLACE FUNCTION search_documents(client_ids bigint[]) RETURNS TABLE (client_id bigint, deck_id bigint, document tsvector)
LANGUAGE sql STABLE AS $$
    WITH wanted AS (
        SELECT c.id, c.archived_at IS NOT NULL AS is_archived, concat_ws(' ',
            weighted_words(c.name || ' ' || c.salutation, 'A'),
            CASE WHEN c.postal_street <> '' OR c.postal_town <> '' THEN
                weighted_words(c.postal_street || ' ' || c.postal_town, 'B') END,
            CASE WHEN c.notes <> '' THEN weighted_words(c.notes, 'D') END) AS words
        FROM clients_client c WHERE client_ids IS NULL OR c.id = ANY (client_ids)
    ), reached AS (
        SELECT p.client_id, string_agg(CASE p.kind
            WHEN 'email' THEN weighted_words(p.normalized, 'A') ELSE number_endings(p.normalized) END, ' ') AS words
        FROM clients_contactpoint p JOIN wanted ON wanted.id = p.client_id GROUP BY p.client_id
    ), stands AS (
        SELECT d.id, p.client_id, d.archived_at IS NOT NULL AS is_archived, p.latitude < 0 AS is_south, concat_ws(' ',
            weighted_words(p.street || ' ' || d.label, 'A'),
            weighted_words(p.town || ' ' || p.region || ' ' || d.species, 'B'),
            CASE WHEN p.postcode <> '' THEN code_words(p.postcode, 'B') END,
            CASE WHEN d.notes <> '' OR p.access_notes <> '' THEN weighted_words(d.notes || ' ' || p.access_notes, 'D') END,
            value_lexeme('town', p.town), value_lexeme('species', d.species)) AS words
        FROM clients_deck d JOIN clients_property p ON p.id = d.property_id JOIN wanted ON wanted.id = p.client_id
    ), finished AS (
        SELECT j.id, j.deck_id, j.kind, stands.is_south, j.crew, j.notes, {from_day} AS from_day, j.finished_on AS to_day
        FROM jobs_job j JOIN stands ON stands.id = j.deck_id
    ), worked AS (
        SELECT f.deck_id, string_agg(job_lexemes(f.from_day, f.to_day, f.kind, f.is_south), ' ') AS lexemes,
            string_agg(f.crew || ' ' || f.notes, ' ') FILTER (WHERE f.crew <> '' OR f.notes <> '') AS words
        FROM finished f GROUP BY f.deck_id
    ), looked AS (
        SELECT v.deck_id,
            string_agg(v.found_by || ' ' || v.notes, ' ') FILTER (WHERE v.found_by <> '' OR v.notes <> '') AS words
        FROM jobs_visit v JOIN stands ON stands.id = v.deck_id GROUP BY v.deck_id
    ), coated AS (
        SELECT f.deck_id, string_agg(DISTINCT p.name || ' ' || p.maker, ' ') AS products,
            string_agg(DISTINCT a.colour, ' ') FILTER (WHERE a.colour <> '') AS colours,
            string_agg(DISTINCT b.code || ' ' || regexp_replace(b.code, '[^[:alnum:]]', '', 'g'), ' ')
                FILTER (WHERE b.code <> '') AS codes,
            string_agg(made.lexemes, ' ') AS lexemes
        FROM jobs_coatapplied a JOIN finished f ON f.id = a.job_id
        LEFT JOIN jobs_product p ON p.id = a.product_id LEFT JOIN jobs_batch b ON b.id = a.batch_id,
        LATERAL (
            SELECT string_agg(concat_ws(' ', '=' || part || ':1', '=' || year || '/' || part || ':1A'), ' ') AS lexemes
            FROM unnest(ARRAY['p' || p.id, 'f_' || nullif(p.finish_class, '')]) AS part,
                generate_series(extract(year FROM f.from_day)::int, extract(year FROM f.to_day)::int) AS year
            WHERE part IS NOT NULL
        ) AS made GROUP BY f.deck_id
    )
    SELECT wanted.id, stands.id, concat_ws(' ', wanted.words, reached.words, stands.words, worked.lexemes,
        CASE WHEN worked.words IS NOT NULL OR looked.words IS NOT NULL THEN
            weighted_words(concat_ws(' ', worked.words, looked.words), 'D') END,
        CASE WHEN coated.products IS NOT NULL THEN weighted_words(coated.products, 'C') END,
        CASE WHEN coated.colours IS NOT NULL OR coated.codes IS NOT NULL THEN
            weighted_words(concat_ws(' ', coated.colours, coated.codes), 'B') END,
        coated.lexemes,
        CASE WHEN wanted.is_archived OR stands.is_archived THEN '=archived:1' END)::tsvector
    FROM wanted
    LEFT JOIN reached ON reached.client_id = wanted.id
    LEFT JOIN stands ON stands.client_id = wanted.id
    LEFT JOIN worked ON worked.deck_id = stands.id
    LEFT JOIN looked ON looked.deck_id = stands.id
    LEFT JOIN coated ON coated.deck_id = stands.id
$$;
