"""A note's descriptor is a built-in one or its own team's; synonyms are a short list."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("tastings", "0004_triangle_tests")]

    operations = [
        migrations.RunSQL(
            """
            CREATE FUNCTION tastings_note_word_of_team() RETURNS trigger LANGUAGE plpgsql AS $$
            BEGIN
                IF NOT EXISTS (SELECT FROM tastings_descriptor AS word
                               WHERE word.id = NEW.descriptor_id
                                 AND (word.team_id IS NULL OR word.team_id = NEW.team_id)) THEN
                    RAISE EXCEPTION 'the descriptor of note % is not of its team', NEW.id
                        USING ERRCODE = 'foreign_key_violation', CONSTRAINT = 'note_word_of_team';
                END IF;
                RETURN NULL;
            END $$;
            CREATE CONSTRAINT TRIGGER note_word_of_team AFTER INSERT OR UPDATE OF descriptor_id, team_id
                ON tastings_note DEFERRABLE INITIALLY DEFERRED
                FOR EACH ROW EXECUTE FUNCTION tastings_note_word_of_team();
            ALTER TABLE tastings_descriptor ADD CONSTRAINT descriptor_synonyms_few
                CHECK (jsonb_typeof(synonyms) = 'array' AND jsonb_array_length(synonyms) <= 50);
            """,
            """
            ALTER TABLE tastings_descriptor DROP CONSTRAINT descriptor_synonyms_few;
            DROP TRIGGER note_word_of_team ON tastings_note;
            DROP FUNCTION tastings_note_word_of_team();
            """,
        )
    ]
