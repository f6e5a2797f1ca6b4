"""The invented book of the demo: clients, jobs, prices, offers, diary and shelf of Driftline Deck
Care."""
